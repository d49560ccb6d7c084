"""No posture drives one bone through another: spheres in closed form, bones against trimesh."""

from itertools import pairwise

import numpy as np
import pytest
import trimesh

from meshes import cache, joint_carving
from meshes.anatomy import build_anatomy
from meshes.bones import Bone, meshed, placed_grid
from meshes.findings import Laminectomy
from meshes.frames import Pose
from meshes.joint_carving import FILM, TOO_NEAR, carved, joint_clearances, settled
from meshes.levels import COLUMN
from meshes.measure_joints import measure_joints
from meshes.parameters import SpineParameters
from meshes.units import radians
from meshes.vertebra import shape_column

# As far as the sliders go, and all at once.
EXTREMES = {
    "lordosis 20": {"lumbar_lordosis": radians(20.0)},
    "lordosis 75": {"lumbar_lordosis": radians(75.0)},
    "scoliosis 45": {"scoliosis": radians(45.0)},
    "disc loss": {"disc_loss": 0.6},
    "all": {"lumbar_lordosis": radians(75.0), "scoliosis": radians(-45.0), "disc_loss": 0.6},
}


def as_trimesh(bone, pose=None):
    vertices = bone.vertices if pose is None else pose.apply(bone.vertices)
    return trimesh.Trimesh(vertices, bone.faces, process=False)


def sphere(radius, *, pitch=0.5, box=12.0):
    """Return a Bone that is a sphere about the origin; its shape tells only that it is a mirror image."""
    half, axis = pitch * np.arange(box / pitch + 1), np.arange(-box, box + pitch, pitch)
    z, y, x = np.meshgrid(axis, axis, half, indexing="ij")
    field = (np.sqrt(x * x + y * y + z * z) - radius).astype(np.float32)
    part = meshed(field, np.array([0.0, -box, -box]), pitch)
    vertices = part["vertices"].astype(float)
    grid = placed_grid(part["values"], part["origin"], vertices, pitch=pitch)
    return Bone("T8", vertices, part["faces"], grid, shape_column(SpineParameters())["T8"])


def test_two_spheres_give_way_along_the_plane_half_way_between_them():
    ball, apart = sphere(7.0), Pose(np.eye(3), np.array([0.0, 0.0, 12.0]))
    upper = carved(ball, [(ball, apart.inverse())])
    lower = carved(ball, [(ball, apart)])
    assert lower["vertices"][:, 2].max() == pytest.approx(6.0 - 0.5 * FILM, abs=0.05)
    assert upper["vertices"][:, 2].min() == pytest.approx(-6.0 + 0.5 * FILM, abs=0.05)
    lost = np.pi * 1.3**2 * (21.0 - 1.3) / 3.0  # cap of height 1.3 of a sphere of radius 7
    whole = as_trimesh(ball).volume
    assert trimesh.Trimesh(lower["vertices"], lower["faces"]).volume == pytest.approx(whole - lost, abs=5.0)
    assert lower["vertices"][:, 2].min() == pytest.approx(-7.0, abs=0.01)


def test_spheres_side_by_side_are_cut_on_a_whole_grid():
    ball, beside = sphere(7.0), Pose(np.eye(3), np.array([12.0, 0.0, 0.0]))
    part = carved(ball, [(ball, beside)])
    assert part["vertices"][:, 0].max() == pytest.approx(6.0 - 0.5 * FILM, abs=0.05)
    assert part["vertices"][:, 0].min() == pytest.approx(-7.0, abs=0.01)


def test_what_a_cut_has_split_off_is_dropped():
    ball = sphere(7.0)
    flat = placed_grid(
        np.full((49, 49, 25), 6.0, np.float32), np.array([0.0, -12, -12]), ball.vertices, pitch=0.5
    )
    plate = flat.values.copy()
    plate[33:37] = -2.0  # a slab 2 mm thick through the upper third
    part = carved(
        ball,
        [
            (
                Bone("T9", ball.vertices, ball.faces, _with(flat, plate), ball.shape),
                Pose(np.eye(3), np.zeros(3)),
            )
        ],
    )
    assert part["vertices"][:, 2].max() < 5.0
    assert trimesh.Trimesh(part["vertices"], part["faces"]).body_count == 1


def _with(grid, values):
    return type(grid)(values, grid.origin, grid.pitch, 0.0)


@pytest.fixture(scope="module", params=EXTREMES)
def extreme(request, anatomy):
    moved = anatomy.with_pose(**EXTREMES[request.param])
    return moved, moved.settled()


def test_neighbours_keep_apart_in_extreme_postures(extreme):
    """Each bone's vertices in the grid of the other, both ways; also two levels away."""
    _, anatomy = extreme
    for steps in (1, 2):
        for upper, lower in zip(COLUMN, COLUMN[steps:]):
            for level, other in ((upper, lower), (lower, upper)):
                points = anatomy.poses[level].apply(anatomy.bones[level].vertices)
                gap = anatomy.packed.only((other,)).nearest(points, cubic=False).min()
                assert gap > 0.25, (level, other)


def test_bones_that_gave_way_are_one_closed_body_and_keep_their_bodies(extreme):
    moved, anatomy = extreme
    for level, bone in anatomy.bones.items():
        before = moved.bones[level]
        if bone.vertices is before.vertices:
            continue
        mesh = as_trimesh(bone)
        assert mesh.is_watertight and mesh.is_winding_consistent, level
        assert mesh.body_count == 1, level
        assert mesh.volume > 0.95 * as_trimesh(before).volume, level
        assert np.abs(bone.grid.at(bone.vertices[::20])).max() < 0.15, level
        # The plates, which tell the Cobb angles, stay: cuts are at the joints, and at rims that nearly meet.
        front = before.vertices[before.vertices[:, 1] < 0.6 * before.shape.posterior_wall]
        moved_by = np.abs(bone.grid.at(front))
        assert np.quantile(moved_by, 0.97) < 0.12, level
        assert moved_by.max() < 1.0, level


def test_the_overlap_was_there_before(anatomy):
    moved = anatomy.with_pose(**EXTREMES["all"])
    before, after = (measure_joints(a) for a in (moved, moved.settled()))
    assert min(before.values()) < -3.0
    assert min(after.values()) > TOO_NEAR


def test_clearance_after_a_cut_agrees_with_trimesh(anatomy):
    cut = anatomy.with_pose(lumbar_lordosis=radians(75.0)).settled()
    upper, lower = (as_trimesh(cut.bones[level], cut.poses[level]) for level in ("L5", "S1"))
    near = lower.vertices[np.argsort(cut.packed.only(("L5",)).nearest(lower.vertices))[:300]]
    assert not upper.contains(near).any()
    _, distance, _ = trimesh.proximity.closest_point(upper, near)
    assert distance.min() == pytest.approx(measure_joints(cut, ["L5-S1"])["L5-S1"], abs=0.05)


def test_at_rest_nothing_is_cut(anatomy):
    assert anatomy.uncarved is None
    assert anatomy.settled() is anatomy
    assert min(joint_clearances(anatomy.bones, anatomy.poses).values()) > TOO_NEAR


def test_only_bones_that_come_too_near_are_cut_and_sliders_start_from_the_whole_ones(anatomy):
    cut = anatomy.with_pose(lumbar_lordosis=radians(75.0)).settled()
    changed = set()
    for level in COLUMN:
        if not np.array_equal(cut.bones[level].grid.values, anatomy.bones[level].grid.values):
            changed.add(level)
    assert changed == {"L2", "L3", "L4", "L5", "S1"}
    assert cut.bones["T9"].vertices is anatomy.bones["T9"].vertices
    assert cut.packed.values is cut.bones["T9"].grid.buffer
    assert cut.uncarved is anatomy.bones
    assert cut.settled() is cut
    assert cut.with_pose(lumbar_lordosis=radians(50.0)).bones is anatomy.bones


def test_built_in_a_posture_and_moved_into_it_is_the_same(anatomy):
    parameters = SpineParameters(lumbar_lordosis=radians(75.0))
    built, moved = build_anatomy(parameters), anatomy.with_pose(lumbar_lordosis=radians(75.0)).settled()
    for level in COLUMN:
        assert np.array_equal(built.bones[level].grid.values, moved.bones[level].grid.values)


def test_a_bone_that_is_no_mirror_image_stays_so_when_it_is_cut():
    """A laminotomy on the left of L4: nothing of the right side is copied to the left by a cut."""
    parameters = SpineParameters(findings=(Laminectomy("L4", side="left"),), lumbar_lordosis=radians(75.0))
    cut = build_anatomy(parameters, pitch=1.4)
    before, after = cut.uncarved["L4"].grid, cut.bones["L4"].grid
    assert not np.array_equal(after.values, after.values[:, :, ::-1])
    unlike = np.abs(before.values - before.values[:, :, ::-1]) > 1.0
    assert np.abs(after.values - before.values)[unlike].mean() < 0.5
    for upper, lower in pairwise(COLUMN):
        points = cut.poses[lower].apply(cut.bones[lower].vertices)
        assert cut.packed.only((upper,)).nearest(points, cubic=False).min() > 0.0, upper


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(cache, "cache_root", lambda: tmp_path)
    return tmp_path


def test_cut_bones_come_from_disk_the_same_to_the_bit(anatomy, folder, monkeypatch):
    poses = anatomy.with_pose(lumbar_lordosis=radians(68.0)).poses
    first = settled(anatomy.bones, poses, facts=("a",))
    assert len(list(folder.glob("joints-*.npz"))) == 1
    monkeypatch.setattr(joint_carving, "_carve_all", None)
    again = settled(anatomy.bones, poses, facts=("a",))
    for level in COLUMN:
        assert np.array_equal(first[level].vertices, again[level].vertices)
        assert np.array_equal(first[level].grid.values, again[level].grid.values)


def test_another_posture_or_other_bones_are_another_entry(anatomy, folder):
    for angle, facts in ((68.0, "a"), (69.0, "a"), (69.0, "b"), (69.0, "b")):
        settled(anatomy.bones, anatomy.with_pose(lumbar_lordosis=radians(angle)).poses, facts=(facts,))
    assert len(list(folder.glob("joints-*.npz"))) == 3


def test_coarse_bones_keep_apart_too():
    coarse = build_anatomy(SpineParameters(**EXTREMES["all"]), pitch=1.4)
    for upper, lower in pairwise(COLUMN):
        points = coarse.poses[lower].apply(coarse.bones[lower].vertices)
        assert coarse.packed.only((upper,)).nearest(points, cubic=False).min() > 0.0, upper
