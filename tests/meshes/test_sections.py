"""Plane sections against trimesh, crossings against a circle."""

import numpy as np
import pytest
import trimesh

from meshes.sections import line_crossings, plane_section, sampled


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("at", [-7.3, 0.0, 4.1])
def test_the_same_segments_as_trimesh(axis, at):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=10.0)
    ball.apply_transform(trimesh.transformations.rotation_matrix(0.3, [1.0, 2.0, 3.0]))
    ours = plane_section(ball.vertices, ball.faces, axis=axis, at=at)
    normal, origin = np.eye(3)[axis], np.eye(3)[axis] * at
    theirs = np.delete(trimesh.intersections.mesh_plane(ball, normal, origin), axis, axis=2)
    assert len(ours) == len(theirs)
    # The same ends in whatever order.
    key = [np.sort(np.round(s.reshape(-1, 2) @ [1.0, np.pi], 6)) for s in (ours, theirs)]
    np.testing.assert_allclose(*key, atol=2e-6)


def test_a_plane_through_vertices_still_gives_a_closed_outline():
    box = trimesh.creation.box((10.0, 10.0, 10.0)).subdivide()
    ends = plane_section(box.vertices, box.faces, axis=2, at=0.0).reshape(-1, 2)
    _, count = np.unique(np.round(ends, 9), axis=0, return_counts=True)
    assert np.all(count % 2 == 0)


def test_a_plane_beside_the_mesh_gives_nothing():
    box = trimesh.creation.box((10.0, 10.0, 10.0))
    assert plane_section(box.vertices, box.faces, axis=0, at=5.1).shape == (0, 2, 2)


def test_crossings_of_a_circle():
    ball = trimesh.creation.icosphere(subdivisions=5, radius=10.0)
    circle = plane_section(ball.vertices, ball.faces, axis=2, at=0.01)
    np.testing.assert_allclose(line_crossings(circle, axis=0, at=6.0), [-8.0, 8.0], atol=0.02)
    np.testing.assert_allclose(line_crossings(circle, axis=1, at=-6.0), [-8.0, 8.0], atol=0.02)
    assert len(line_crossings(circle, axis=0, at=10.5)) == 0


def test_samples_are_ends_and_middles():
    points = sampled(np.array([[[0.0, 0.0], [2.0, 4.0]]]))
    assert points.tolist() == [[0.0, 0.0], [2.0, 4.0], [1.0, 2.0]]
