"""Least clearance of neighbouring bones, against trimesh's closest points and its inside test."""

import numpy as np
import pytest
import trimesh

from meshes.levels import INTERSPACES
from meshes.measure_joints import measure_joints
from meshes.units import radians


def posed(anatomy, level):
    bone = anatomy.bones[level]
    return trimesh.Trimesh(anatomy.poses[level].apply(bone.vertices), bone.faces, process=False)


def test_bones_at_rest_keep_apart(anatomy):
    found = measure_joints(anatomy)
    assert tuple(found) == INTERSPACES
    assert min(found.values()) > 0.8
    assert max(found.values()) < 2.0


def test_clearance_agrees_with_trimesh(anatomy):
    upper, lower = posed(anatomy, "T12"), posed(anatomy, "L1")
    clearance = measure_joints(anatomy, ["T12-L1"])["T12-L1"]
    grid = anatomy.packed.only(("T12",)).nearest(lower.vertices)
    nearest = lower.vertices[np.argsort(grid)[:200]]
    _, distance, _ = trimesh.proximity.closest_point(upper, nearest)
    assert clearance == pytest.approx(distance.min(), abs=0.05)


def test_a_strong_posture_is_told_by_a_negative_clearance(anatomy):
    """The vertex that lies deepest is inside the upper bone by trimesh's own count of crossings."""
    bent = anatomy.with_pose(scoliosis=radians(45.0))
    clearance = measure_joints(bent, ["L1-L2"])["L1-L2"]
    assert clearance < -1.0
    upper, lower = posed(bent, "L1"), posed(bent, "L2")
    deepest = lower.vertices[np.argmin(bent.packed.only(("L1",)).nearest(lower.vertices))]
    assert upper.contains([deepest])[0]
    _, distance, _ = trimesh.proximity.closest_point(upper, [deepest])
    assert -clearance == pytest.approx(distance[0], abs=0.1)
