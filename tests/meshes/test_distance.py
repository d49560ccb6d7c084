"""Distance grids and packed queries against a sphere, whose distance is known in closed form."""

import numpy as np
import pytest

from meshes.bones import Bone
from meshes.distance import DistanceGrid, PackedBones, check_points, nearest_bone, pack_bones
from meshes.distance_build import REACH, mirrored, signed_grid, triangle_rows, unsigned_distance
from meshes.fields import contour
from meshes.frames import Pose, about_x, about_y, about_z

PITCH = 0.5
RADIUS = 7.0


def sphere(radius=RADIUS, *, box=12.0):
    """Return a Bone that is a sphere about the origin."""
    n = round(box / PITCH) + 1
    half_x, y = PITCH * np.arange(n), PITCH * np.arange(1 - n, n)
    z, y, x = np.meshgrid(y, y, half_x, indexing="ij")
    field = (np.sqrt(x * x + y * y + z * z) - radius).astype(np.float32)
    origin = np.array([-box, -box, -box])
    vertices, faces = contour(mirrored(field), origin, PITCH)
    values = mirrored(signed_grid(vertices, faces, field, origin=[0.0, -box, -box], pitch=PITCH))
    grid = DistanceGrid(values, origin, PITCH, box - radius)
    return Bone("T8", vertices, faces, grid, None)


@pytest.fixture(scope="module")
def ball():
    return sphere()


def scattered(count, *, largest, seed=3):
    """Return points (count, 3) in a cube about the origin."""
    return np.random.default_rng(seed).uniform(-largest, largest, (count, 3))


def test_distance_to_a_triangle_in_each_of_its_seven_regions():
    triangle = triangle_rows(np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]), np.array([[0, 1, 2]]))
    cases = {(-1, -1, 0): 2**0.5, (3, -1, 0): 2**0.5, (-1, 3, 0): 2**0.5, (1, -1, 0): 1.0, (-1, 1, 0): 1.0}
    cases |= {(2, 2, 0): 2**0.5, (0.5, 0.5, -1.5): 1.5}
    for point, expected in cases.items():
        found = unsigned_distance(triangle, origin=point, pitch=10.0, shape=(1, 1, 1))
        assert found.item() == pytest.approx(expected, abs=1e-6), point


def test_grid_of_a_sphere_is_its_exact_distance_within_reach(ball):
    points = scattered(4000, largest=11.0)
    true = np.linalg.norm(points, axis=1) - RADIUS
    near = np.abs(true) < REACH - PITCH
    # The contour of a sphere of 7 mm lies inside it by its sagitta, pitch^2 / 8 / radius = 0.005 mm.
    error = ball.grid.at(points[near]) - true[near]
    assert near.sum() > 1000
    assert np.sqrt(np.mean(error**2)) < 0.01
    assert np.abs(error).max() < 0.04


def test_grid_is_capped_at_its_reach(ball):
    assert ball.grid.values.max() == pytest.approx(REACH)
    assert ball.grid.values.min() == pytest.approx(-REACH)


def test_cubic_interpolation_beats_trilinear(ball):
    points = scattered(4000, largest=8.0)
    true = np.linalg.norm(points, axis=1) - RADIUS
    near = np.abs(true) < 3.0
    cubic, linear = (ball.grid.at(points[near], cubic=c) - true[near] for c in (True, False))
    assert np.sqrt(np.mean(cubic**2)) < 0.6 * np.sqrt(np.mean(linear**2))


def test_outside_the_box_the_answer_is_a_safe_and_growing_bound(ball):
    away = np.array([13.0, 20.0, 40.0, 90.0])
    points = away[:, None] * np.array([[0.6, 0.0, 0.8]]) * 1.5
    true = np.linalg.norm(points, axis=1) - RADIUS
    found = ball.grid.at(points)
    assert np.all(found <= true + 0.01)
    assert np.all(found > 0.5 * (true - REACH))
    assert np.all(np.diff(found) > 0.0)


def test_bound_outside_the_box_never_exceeds_the_distance(ball):
    points = scattered(3000, largest=30.0)
    true = np.linalg.norm(points, axis=1) - RADIUS
    assert np.all(ball.grid.at(points) <= true + 0.03)


def test_packed_bones_answer_in_any_pose(ball):
    rotation = about_y(0.3) @ about_x(-1.1) @ about_z(2.0)
    pose = Pose(rotation, np.array([30.0, -12.0, 250.0]))
    packed = pack_bones({"T8": ball}, {"T8": pose})
    points = scattered(500, largest=11.0)
    points = points[np.linalg.norm(points, axis=1) < RADIUS + REACH - PITCH]
    assert packed.nearest(pose.apply(points)) == pytest.approx(ball.grid.at(points), abs=1e-9)


def test_nearest_bone_is_the_smallest_distance_and_names_it(ball):
    small = sphere(4.0)
    poses = {"T8": Pose(np.eye(3), np.zeros(3)), "T9": Pose(np.eye(3), np.array([0.0, 0.0, -14.0]))}
    packed = pack_bones({"T8": ball, "T9": small}, poses)
    for z in (-12.0, -8.8, -8.2, 2.0):
        true = abs(z) - RADIUS, abs(z + 14.0) - 4.0
        distance, index = nearest_bone(packed.values, packed.table, 0.0, 0.0, z, True)
        assert distance == pytest.approx(min(true), abs=0.03)
        assert packed.levels[index] == ("T8", "T9")[int(np.argmin(true))]


def test_no_bones_are_infinitely_far(ball):
    packed = pack_bones({"T8": ball}, {"T8": Pose(np.eye(3), np.zeros(3))})
    assert nearest_bone(packed.values, packed.table[:0], 0.0, 0.0, 0.0, True) == (1e9, -1)


def test_a_shared_buffer_is_not_copied(anatomy):
    packed = pack_bones(anatomy.bones, anatomy.poses)
    assert packed.values is anatomy.bones["L1"].grid.buffer
    some = pack_bones(anatomy.bones, anatomy.poses, ("L2", "T9"))
    assert some.values is packed.values
    assert some.table == pytest.approx(packed.only(("L2", "T9")).table)


def test_a_choice_of_levels_answers_as_those_bones_packed_alone(anatomy):
    levels = ("T12", "L1")
    alone = {level: _without_buffer(anatomy.bones[level]) for level in levels}
    points = anatomy.poses["L1"].apply(scattered(400, largest=40.0) + np.array([0.0, 30.0, 15.0]))
    chosen = pack_bones(anatomy.bones, anatomy.poses, levels)
    assert np.array_equal(chosen.nearest(points), pack_bones(alone, anatomy.poses).nearest(points))


def _without_buffer(bone):
    grid = bone.grid
    copy = DistanceGrid(grid.values.copy(), grid.origin, grid.pitch, grid.margin, grid.reach)
    return Bone(bone.level, bone.vertices, bone.faces, copy, bone.shape)


def test_points_must_have_three_coordinates(ball):
    with pytest.raises(ValueError, match=r"points must have shape \(\.\.\., 3\), got \(3, 7\)"):
        ball.grid.at(np.zeros((3, 7)))
    with pytest.raises(ValueError, match="points must have shape"):
        check_points(1.0)
    assert ball.grid.at(np.zeros((2, 5, 3))).shape == (2, 5)
    assert ball.grid.at(np.zeros(3)).shape == ()


def test_packed_bones_refuse_unknown_levels(anatomy):
    with pytest.raises(ValueError, match="levels must be among .*, got C2"):
        anatomy.packed.only(("L1", "C2"))
    assert isinstance(anatomy.packed.only(("L1",)), PackedBones)
