"""Measured sizes against rays of embree on the same bone, and endplate fits on bodies of known tilt."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from meshes.frames import about_x, about_y
from meshes.levels import LEVELS
from meshes.measure_bones import endplate_plane, measure_bone, measure_bones, measure_cobb
from meshes.units import degrees, radians


def drum(tilt_x, tilt_y):
    """Return a cylinder of 30 mm whose upper plate leans; stands for a body in its own frame."""
    mesh = trimesh.creation.cylinder(radius=20.0, height=24.0, sections=64).subdivide_to_size(2.0)
    upper = mesh.vertices[:, 2] > 0.0
    lean = about_x(tilt_x) @ about_y(tilt_y)
    vertices = mesh.vertices.copy()
    normal = lean @ [0.0, 0.0, 1.0]
    vertices[upper, 2] -= vertices[upper, :2] @ normal[:2] / normal[2]
    shape = SimpleNamespace(body_depth=30.0)
    return SimpleNamespace(vertices=vertices, faces=np.array(mesh.faces), shape=shape), normal


@pytest.mark.parametrize("tilt_deg", [(0.0, 0.0), (5.0, 0.0), (-7.0, 3.0)])
def test_plane_of_a_leaning_plate(tilt_deg):
    bone, normal = drum(*(radians(t) for t in tilt_deg))
    np.testing.assert_allclose(endplate_plane(bone, upper=True)[1], normal, atol=1e-9)
    centre, lower = endplate_plane(bone, upper=False)
    np.testing.assert_allclose(lower, [0.0, 0.0, 1.0], atol=1e-9)
    assert centre[2] == pytest.approx(-12.0)


@pytest.fixture(scope="module")
def ray_mesh(anatomy):
    bone = anatomy.bones["T10"]
    return trimesh.Trimesh(bone.vertices, bone.faces, process=False)


def first_hits(mesh, start, direction):
    place, ray, _ = mesh.ray.intersects_location(
        start, np.tile(direction, (len(start), 1)), multiple_hits=False
    )
    found = np.full(len(start), np.nan)
    found[ray] = np.linalg.norm(place - start[ray], axis=1)
    return found


def test_canal_depth_and_width_agree_with_embree(anatomy, ray_mesh):
    """Rays from the middle of the canal of T10, every 0.5 mm along it."""
    bone = anatomy.bones["T10"]
    heights = np.arange(-bone.shape.posterior_height, 0.5 * bone.shape.posterior_height, 0.5)
    wall = bone.shape.posterior_wall
    start = np.stack([np.full_like(heights, 0.2), np.full_like(heights, wall + 4.0), heights], axis=1)
    depth = first_hits(ray_mesh, start, [0.0, 1.0, 0.0]) + first_hits(ray_mesh, start, [0.0, -1.0, 0.0])
    start = start + np.array([-0.2, 1.5, 0.0])
    width = first_hits(ray_mesh, start, [1.0, 0.0, 0.0]) + first_hits(ray_mesh, start, [-1.0, 0.0, 0.0])
    measured = measure_bone(bone)
    assert measured.canal_depth == pytest.approx(np.nanmin(depth), abs=1e-3)
    assert measured.canal_width == pytest.approx(np.nanmin(width), abs=1e-3)


def test_heights_agree_with_embree(anatomy, ray_mesh):
    """The body of T10 pierced near its walls, where the plates are almost flat; corners are rounded."""
    bone = anatomy.bones["T10"]
    measured = measure_bone(bone)
    for y, height in ((-0.4, measured.anterior_height), (0.4, measured.posterior_height)):
        start = np.array([[0.2, y * bone.shape.body_depth, 60.0], [0.2, y * bone.shape.body_depth, -60.0]])
        down = first_hits(ray_mesh, start[:1], [0.0, 0.0, -1.0])[0]
        up = first_hits(ray_mesh, start[1:], [0.0, 0.0, 1.0])[0]
        assert height == pytest.approx(120.0 - down - up, abs=1.0)


def test_span_is_that_of_the_bounding_box(anatomy, ray_mesh):
    assert measure_bone(anatomy.bones["T10"]).transverse_span == pytest.approx(ray_mesh.extents[0], abs=1e-4)


def test_every_vertebra_is_measured(anatomy):
    found = measure_bones(anatomy)
    assert tuple(found) == LEVELS
    for level, sizes in found.items():
        assert sizes.level == level
        values = [value for name, value in vars(sizes).items() if name != "level"]
        assert np.isfinite(values).all()
        assert min(values) > 3.0


def test_sizes_scale_with_the_bone(anatomy):
    bone = anatomy.bones["L2"]
    large = SimpleNamespace(level="L2", vertices=1.1 * bone.vertices, faces=bone.faces, shape=bone.shape)
    for name in ("posterior_height", "upper_endplate_depth", "transverse_span"):
        small = getattr(measure_bone(bone), name)
        assert getattr(measure_bone(large, scale=1.1), name) == pytest.approx(1.1 * small, abs=0.05)


def test_mirrored_curves_measure_alike(anatomy):
    left, right = (measure_cobb(anatomy.with_pose(scoliosis=radians(s))) for s in (20.0, -20.0))
    assert degrees(left.scoliosis + right.scoliosis) == pytest.approx(0.0, abs=0.3)
    assert degrees(left.lumbar_lordosis - right.lumbar_lordosis) == pytest.approx(0.0, abs=0.3)
    assert left.scoliosis > 0.0
