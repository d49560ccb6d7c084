"""Gap and free window: closed forms on slabs, embree rays on bones, mirror symmetry, scale."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes.disc_frame import DiscFrame, disc_frame
from meshes.levels import INTERSPACES
from meshes.measure_windows import (
    CANAL_REACHED,
    CRANIAL_ANGLES_DEG,
    HALF_HEIGHT,
    PIXEL,
    VIEW_PLANE,
    _largest_window,
    _near_meshes,
    bony_gaps,
    free_window,
    measure_window,
    measure_windows,
)
from meshes.parameters import SpineParameters
from meshes.units import radians

UPRIGHT = DiscFrame(np.eye(3), np.zeros(3), posterior_line=15.0)


def slab(low, high):
    box = trimesh.creation.box(bounds=np.transpose([(-40.0, 40.0), (30.0, 34.0), (low, high)]))
    return box.vertices, np.array(box.faces, np.int64)


def window_height(mask, cranial):
    return mask.sum(axis=0).max() * PIXEL * np.cos(cranial)


@pytest.mark.parametrize("angle_deg", CRANIAL_ANGLES_DEG)
def test_window_between_two_slabs(angle_deg):
    """Exact: a gap of h in a wall of thickness t shows h cos - t sin across a path; raster 0.5 mm."""
    cranial = radians(angle_deg)
    walls = [slab(6.1, 60.0), slab(-60.0, -5.8)]
    mask = free_window(walls, frame=UPRIGHT, cranial=cranial, half_width=9.0)
    expected = 11.9 * np.cos(cranial) - 4.0 * np.sin(cranial)
    assert window_height(mask, cranial) == pytest.approx(expected, abs=PIXEL)
    assert mask.any(axis=0).all()


def test_bone_in_front_of_the_canal_does_not_shut_a_window():
    body = trimesh.creation.box(bounds=[(-40.0, -20.0, -60.0), (40.0, 15.0 + CANAL_REACHED - 0.1, 60.0)])
    walls = [slab(5.0, 60.0), slab(-60.0, -5.0), (body.vertices, np.array(body.faces, np.int64))]
    mask = free_window(walls, frame=UPRIGHT, cranial=0.0, half_width=9.0)
    assert window_height(mask, 0.0) == pytest.approx(10.0, abs=PIXEL)
    deep = trimesh.creation.box(bounds=[(-40.0, -20.0, -60.0), (40.0, 15.0 + CANAL_REACHED + 0.1, 60.0)])
    walls[2] = deep.vertices, np.array(deep.faces, np.int64)
    assert not free_window(walls, frame=UPRIGHT, cranial=0.0, half_width=9.0).any()


def test_only_the_largest_window_near_the_disc_counts():
    free = np.zeros((121, 37), np.bool_)
    free[60:64, 10:20] = True
    free[70:72, 10:12] = True
    free[110:119, :] = True
    window = _largest_window(free)
    assert window[60:64, 10:20].all()
    assert window.sum() == 40
    assert not _largest_window(np.zeros_like(free)).any()


def test_gap_clearance_and_step_of_two_slabs():
    upper = trimesh.creation.box(bounds=[(-40.0, 34.0, 4.0), (40.0, 40.0, 30.0)]).subdivide_to_size(1.0)
    lower = trimesh.creation.box(bounds=[(-40.0, 27.0, -30.0), (40.0, 31.0, 0.0)]).subdivide_to_size(1.0)
    gaps = bony_gaps(
        (upper.vertices, np.array(upper.faces)), (lower.vertices, np.array(lower.faces)), frame=UPRIGHT
    )
    for gap, clearance, _ in gaps.values():
        assert gap == pytest.approx(5.0)  # 3-4-5 triangle
        assert clearance == pytest.approx(4.0)
    assert gaps[6.0][2] == pytest.approx(8.0, abs=0.3)


def test_no_arch_in_reach_is_not_a_gap():
    far = trimesh.creation.box(bounds=[(-40.0, 80.0, 4.0), (40.0, 90.0, 30.0)])
    mesh = far.vertices, np.array(far.faces)
    assert np.isnan(bony_gaps(mesh, mesh, frame=UPRIGHT)[3.0]).all()


@pytest.mark.parametrize("interspace", ["T7-T8", "T12-L1"])
@pytest.mark.parametrize("angle_deg", [0.0, 45.0])
def test_windows_agree_with_embree(anatomy, interspace, angle_deg):
    """The same paths cast as rays by embree (through trimesh): equal but for grazing rays."""
    frame = disc_frame(anatomy, interspace)
    upper = interspace.split("-")[0]
    cranial = radians(angle_deg)
    window = free_window(
        _near_meshes(anatomy, upper, frame).values(), frame=frame, cranial=cranial, half_width=9.0
    )
    column = trimesh.util.concatenate(
        [
            trimesh.Trimesh(
                frame.local(pose.apply(anatomy.bones[level].vertices)), anatomy.bones[level].faces
            )
            for level, pose in anatomy.poses.items()
            if level in ("T6", "T7", "T8", "T9", "T10", "T11", "T12", "L1", "L2", "L3")
        ]
    )
    rows = np.arange(window.shape[0]) * PIXEL - HALF_HEIGHT
    columns = np.arange(window.shape[1]) * PIXEL - 9.0
    x, z = np.meshgrid(columns, rows)
    forward = np.array([0.0, -np.cos(cranial), np.sin(cranial)])
    start = np.stack([x.ravel(), np.full(x.size, frame.posterior_line + VIEW_PLANE), z.ravel()], axis=1)
    start = start - 140.0 * forward
    place, ray, _ = column.ray.intersects_location(
        start, np.tile(forward, (len(start), 1)), multiple_hits=False
    )
    free = np.ones(x.size, bool)
    free[ray] = place[:, 1] < frame.posterior_line + CANAL_REACHED
    reference = _largest_window(free.reshape(window.shape))
    assert reference.sum() > 5
    assert (reference != window).sum() <= max(3, 0.01 * reference.sum())


def test_gap_agrees_with_trimesh_sections(anatomy):
    """T12-L1 at 6 mm: nearest points of trimesh's own sections, densely sampled."""
    frame = disc_frame(anatomy, "T12-L1")
    parts = []
    for level in ("T12", "L1"):
        bone = anatomy.bones[level]
        mesh = trimesh.Trimesh(frame.local(anatomy.poses[level].apply(bone.vertices)), bone.faces)
        ends = trimesh.intersections.mesh_plane(mesh, [1.0, 0.0, 0.0], [6.0, 0.0, 0.0])
        share = np.linspace(0.0, 1.0, 9)[:, None, None]
        points = (ends[:, 0] * (1.0 - share) + ends[:, 1] * share).reshape(-1, 3)
        behind = points[:, 1] - frame.posterior_line
        parts.append(points[(behind > 9.0) & (behind < 32.0)])
    reference = np.linalg.norm(parts[0][:, None] - parts[1][None], axis=2).min()
    assert measure_window(anatomy, "T12-L1").gap[6.0] == pytest.approx(reference, abs=0.06)


def test_every_interspace_is_measured(anatomy):
    found = measure_windows(anatomy)
    assert tuple(found) == INTERSPACES
    for name, window in found.items():
        assert window.interspace == name
        assert all(0.0 < gap < 25.0 for gap in window.gap.values())
        assert all(len(heights) == 4 and min(heights) >= 0.0 for heights in window.heights.values())


@settings(max_examples=6, deadline=None, derandomize=True)
@given(curve=st.floats(5.0, 45.0), lordosis=st.floats(30.0, 70.0), name=st.sampled_from(INTERSPACES))
def test_mirror_symmetry(anatomy, curve, lordosis, name):
    """A curve to the left and the same curve to the right have the same windows, whatever the posture."""
    pose = {"lumbar_lordosis": radians(lordosis)}
    left, right = (anatomy.with_pose(scoliosis=radians(s), **pose) for s in (curve, -curve))
    a, b = measure_window(left, name), measure_window(right, name)
    np.testing.assert_allclose(list(a.gap.values()), list(b.gap.values()), atol=0.1)
    assert a.step == pytest.approx(b.step, abs=0.3)
    np.testing.assert_allclose(list(a.heights.values()), list(b.heights.values()), atol=2 * PIXEL)
    np.testing.assert_allclose(list(a.area.values()), list(b.area.values()), rtol=0.05, atol=6.0)


def test_lengths_scale_with_stature(anatomy):
    """The midline gap and the angle-free frame scale exactly; only the 0.5 mm raster does not."""
    bones = {
        level: SimpleNamespace(vertices=1.1 * anatomy.bones[level].vertices, **rest)
        for level, rest in (
            (n, {"faces": b.faces, "shape": b.shape, "level": n}) for n, b in anatomy.bones.items()
        )
    }
    poses = {n: type(p)(p.rotation, 1.1 * p.translation) for n, p in anatomy.poses.items()}
    tall = SimpleNamespace(bones=bones, poses=poses, parameters=SpineParameters(stature_scale=1.1))
    small, large = measure_window(anatomy, "T12-L1"), measure_window(tall, "T12-L1")
    assert large.gap[0.0] == pytest.approx(1.1 * small.gap[0.0], rel=1e-6)
    assert large.heights[20.0][0] == pytest.approx(1.1 * small.heights[20.0][0], abs=PIXEL)


def test_refuses_an_unknown_interspace(anatomy):
    with pytest.raises(ValueError, match="interspace must be one of"):
        measure_window(anatomy, "T12-L2")
    assert measure_window(anatomy, "t12/l1").interspace == "T12-L1"
