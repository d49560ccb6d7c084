"""Facts about a triangle mesh: how many faces, whether it is closed, what it encloses."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class MeshFacts:
    """Facts about one mesh.

    Parameters
    ----------
    vertices, faces : int
    closed : bool
        Every edge is shared by exactly two faces, which run through it in opposite directions.
    volume : float
        Enclosed by a closed mesh, positive if its faces look outward. [mm³]
    """

    vertices: int
    faces: int
    closed: bool
    volume: float


def is_closed(faces):
    """Return whether the faces (m, 3) bound a body: each directed edge once, and once the other way."""
    if len(faces) == 0:
        return False
    faces = np.asarray(faces, np.int64)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    span = int(faces.max()) + 1
    there = np.sort(start * span + end)
    back = np.sort(end * span + start)
    return bool(np.array_equal(there, back) and np.all(np.diff(there) > 0))


def enclosed_volume(vertices, faces):
    """Return the signed volume [mm³] within the faces, by the divergence theorem.

    Only a closed mesh encloses one; about the mean vertex, so that far meshes lose no digits.
    """
    vertices = np.asarray(vertices, float)
    corners = (vertices - vertices.mean(axis=0))[faces]
    return float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0)


def measure_mesh(vertices, faces):
    """Return the MeshFacts of one mesh: vertices (n, 3) [mm], faces (m, 3)."""
    return MeshFacts(len(vertices), len(faces), is_closed(faces), enclosed_volume(vertices, faces))
