"""The rasteriser beside a general ray caster; tools only beside a whole picture; the display."""

import numpy as np
import pytest
import trimesh

from trainer.physics.lead_properties import LeadProperties
from trainer.physics.needle import Needle
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_picture import film
from trainer.physics.xray_raster import path_attenuation
from trainer.physics.xray_scene import still_surfaces, tool_surfaces
from trainer.physics.xray_surfaces import Surfaces

PIXELS = 512


@pytest.fixture(scope="module")
def carm(anatomy):
    return CArm(isocentre_at(anatomy, "T11"), 0.4, 0.1, pixels=PIXELS)


@pytest.fixture(scope="module")
def tools(anatomy):
    canal = anatomy.canal
    u = np.linspace(canal.station("L1"), canal.station("T8"), 120)
    nodes = canal.to_world(u, np.zeros(120), np.full(120, 6.0))
    needle = (nodes[0], np.array([0.1, -0.6, 0.8]), Needle())
    return {"needles": [needle], "leads": [(nodes, LeadProperties())]}


@pytest.mark.benchmark(group="one bone, 256 x 256 rays: rasteriser beside embree")
@pytest.mark.parametrize("how", ["rasteriser", "embree"])
def test_one_bone(benchmark, anatomy, carm, how):
    vertices, faces = anatomy.bone_meshes["T12"]
    small = carm.with_changes(pixels=256)
    if how == "rasteriser":
        surfaces = Surfaces(vertices, faces, 1.0)
        assert benchmark(path_attenuation, surfaces, small).max() > 20.0
        return
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    rays = small.rays().reshape(-1, 3)
    starts = np.broadcast_to(small.source, rays.shape)
    options = {"multiple_hits": True, "return_locations": True}
    hits = benchmark.pedantic(mesh.ray.intersects_id, args=(starts, rays), kwargs=options, rounds=3)
    assert len(hits[0]) > 1000


@pytest.mark.benchmark(group="whole scene 512 x 512: new pose beside tools only beside display")
@pytest.mark.parametrize("how", ["new pose", "tools only", "tools with their meshes", "display"])
def test_whole_scene(benchmark, anatomy, carm, tools, how):
    if how == "new pose":
        assert benchmark(path_attenuation, still_surfaces(anatomy), carm).max() > 1.0
    elif how == "tools only":
        surfaces = tool_surfaces(**tools)
        assert benchmark(path_attenuation, surfaces, carm, rays_per_pixel_side=2).max() > 1.0
    elif how == "tools with their meshes":

        def redraw():
            return path_attenuation(tool_surfaces(**tools), carm, rays_per_pixel_side=2)

        assert benchmark(redraw).max() > 1.0
    else:
        attenuation = path_attenuation(still_surfaces(anatomy), carm)
        assert benchmark(film, attenuation, rng=0, carm=carm).shape == (PIXELS, PIXELS)
