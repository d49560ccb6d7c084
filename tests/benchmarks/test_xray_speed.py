"""The rasteriser beside a general ray caster and beside VTK blending; one frame with tools beside a pose."""

import numpy as np
import pytest
import trimesh

from trainer.physics.lead_properties import LeadProperties
from trainer.physics.needle import Needle
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_graphics import BlendingRasteriser, NoGraphicsError
from trainer.physics.xray_picture import PictureChain, film
from trainer.physics.xray_raster import path_attenuation, window_of
from trainer.physics.xray_scene import scene_of, still_surfaces, tool_surfaces
from trainer.physics.xray_surfaces import Surfaces
from trainer.physics.xray_view import still_view

PIXELS = 512


@pytest.fixture(scope="module")
def carm(anatomy):
    return CArm(isocentre_at(anatomy, "T11"), 0.4, 0.1, pixels=PIXELS)


@pytest.fixture(scope="module")
def still(anatomy):
    return still_surfaces(anatomy)


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


@pytest.mark.benchmark(group="new pose of the whole scene: rasteriser beside VTK blending")
@pytest.mark.parametrize("pixels", [512, 1024])
@pytest.mark.parametrize("how", ["rasteriser", "blending"])
def test_new_pose(benchmark, still, carm, how, pixels):
    """More than the 120 000 triangles that the goal is set for; without a card blending is in software."""
    pose = carm.with_changes(pixels=pixels)
    assert len(still.faces) > 120_000
    if how == "rasteriser":
        assert benchmark(path_attenuation, still, pose).max() > 1.0
        return
    graphics = BlendingRasteriser()
    try:
        graphics(still, pose)
    except NoGraphicsError as error:
        pytest.skip(str(error))
    assert benchmark.pedantic(graphics, args=(still, pose), rounds=3).max() > 1.0


@pytest.mark.benchmark(group="one frame 512 x 512: tools only beside what is done once a pose")
@pytest.mark.parametrize("how", ["view of a pose", "tools' meshes", "tools' path", "live frame", "film"])
def test_one_frame(benchmark, anatomy, still, carm, tools, how):
    if how == "view of a pose":
        path = path_attenuation(still, carm)
        assert benchmark(still_view, path, carm=carm).signal.shape == (PIXELS, PIXELS)
    elif how == "tools' meshes":
        assert len(benchmark(tool_surfaces, **tools).faces) > 1000
    elif how == "tools' path":
        surfaces = tool_surfaces(**tools)
        window = window_of(surfaces, carm)
        assert benchmark(path_attenuation, surfaces, carm, rays_per_pixel_side=2, window=window).max() > 1.0
    elif how == "live frame":
        chain, surfaces = PictureChain(scene_of(anatomy)), tool_surfaces(**tools)
        rng = np.random.default_rng(0)
        before = chain.live(carm, surfaces, rng=rng).screen
        assert benchmark(chain.live, carm, surfaces, rng=rng, before=before).screen.frames == 2
    else:
        attenuation = path_attenuation(still, carm)
        assert benchmark(film, attenuation, rng=0, carm=carm).shape == (PIXELS, PIXELS)
