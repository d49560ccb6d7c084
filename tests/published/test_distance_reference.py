"""Distance grids of built bones against exact closest points on the same meshes.

Reference: trimesh (closest_point over an R-tree of the triangles; signs by its ray casting through embree).
"""

import numpy as np
import pytest
import trimesh

from meshes.distance import pack_bones
from meshes.distance_build import REACH
from meshes.units import radians

LEVELS = ("T8", "L1", "S1")
COUNT = 700


@pytest.fixture(scope="module", params=LEVELS)
def bone(anatomy, request):
    return anatomy.bones[request.param]


@pytest.fixture(scope="module")
def mesh(bone):
    return trimesh.Trimesh(bone.vertices, bone.faces, process=False)


def test_values_at_grid_points(bone, mesh):
    grid = bone.grid
    near = np.argwhere(np.abs(grid.values) < REACH - 0.5)
    chosen = near[np.random.default_rng(2).choice(len(near), COUNT, replace=False)]
    points = grid.origin + grid.pitch * chosen[:, ::-1]
    _, distance, _ = trimesh.proximity.closest_point(mesh, points)
    values = grid.values[tuple(chosen.T)]
    error = np.abs(values) - distance
    assert np.sqrt(np.mean(error**2)) < 0.015
    assert np.abs(error).max() < 0.15
    clear = distance > 0.05
    assert np.array_equal(values[clear] < 0.0, mesh.contains(points[clear]))


def test_the_constant_beyond_the_reach_is_a_lower_bound(bone, mesh):
    grid = bone.grid
    far = np.argwhere(grid.values >= grid.reach)
    chosen = far[np.random.default_rng(3).choice(len(far), 200, replace=False)]
    _, distance, _ = trimesh.proximity.closest_point(mesh, grid.origin + grid.pitch * chosen[:, ::-1])
    assert distance.min() > REACH - 0.15


@pytest.mark.parametrize(("cubic", "rms", "largest"), [(True, 0.02, 0.2), (False, 0.03, 0.3)])
def test_interpolated_distance_around_the_bone(bone, mesh, cubic, rms, largest):
    """Outside, where clearances are read; the largest errors sit on ridges between two nearest places."""
    rng = np.random.default_rng(4)
    points = mesh.vertices[rng.choice(len(mesh.vertices), 2 * COUNT)] + rng.normal(0.0, 2.0, (2 * COUNT, 3))
    points = points[bone.grid.at(points) > 0.0]
    _, distance, _ = trimesh.proximity.closest_point(mesh, points)
    points, distance = points[distance < 4.0], distance[distance < 4.0]
    assert len(points) > 500
    error = bone.grid.at(points, cubic=cubic) - distance
    assert np.sqrt(np.mean(error**2)) < rms
    assert np.abs(error).max() < largest


def test_nearest_bone_of_a_bent_column(anatomy):
    bent = anatomy.with_pose(scoliosis=radians(20.0), lumbar_lordosis=radians(65.0))
    levels = ("T12", "L1", "L2")
    packed = pack_bones(bent.bones, bent.poses, levels)
    meshes = [trimesh.Trimesh(*bent.bone_meshes[level], process=False) for level in levels]
    rng = np.random.default_rng(5)
    every = np.vstack([mesh.vertices for mesh in meshes])
    points = every[rng.choice(len(every), 300)] + rng.normal(0.0, 2.0, (300, 3))
    distance = np.min([trimesh.proximity.closest_point(mesh, points)[1] for mesh in meshes], axis=0)
    outside = packed.nearest(points) > 0.0
    points, distance = points[outside & (distance < 4.0)], distance[outside & (distance < 4.0)]
    assert len(points) > 100
    assert packed.nearest(points) == pytest.approx(distance, abs=0.15)
