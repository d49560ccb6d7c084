"""The corridor as a body to look at: the hull of the axes of all needles that get through."""

import numpy as np
from scipy.spatial import ConvexHull

from trainer.physics.needle import side_sign
from trainer.physics.needle_axis import arrays_of
from trainer.physics.needle_trials import axis_ends

FEWEST = 4


def corridor_axes(found, *, for_lead=True):
    """Return the ends (k, 2, 3) of the axes of a CorridorMap's needles: on the skin, at the epidural space.

    Parameters
    ----------
    found : CorridorMap
    for_lead : bool
        Those that serve needle and lead; else all that are free.
    """
    places = np.ascontiguousarray(found.places(found.serving if for_lead else found.free))
    ends = np.empty((len(places), 6))
    axis_ends(arrays_of(found.anatomy)[1], places, side_sign(found.side), ends)
    return ends.reshape(-1, 2, 3)


def ghost_mesh(found, *, for_lead=True):
    """Return (vertices (n, 3) [mm], faces (m, 3)) of the corridor, closed and facing outward; or None.

    The convex hull of the axes: every needle that gets through lies inside, but not all that lies inside
    gets through. None where fewer than four needles get through, or all in one plane.
    """
    ends = corridor_axes(found, for_lead=for_lead).reshape(-1, 3)
    if len(ends) < 2 * FEWEST or np.linalg.matrix_rank(ends - ends.mean(axis=0), tol=0.1) < 3:
        return None
    hull = ConvexHull(ends)
    kept, faces = np.unique(hull.simplices, return_inverse=True)
    vertices, faces = ends[kept], faces.reshape(-1, 3)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a - vertices.mean(axis=0)) < 0.0
    faces[inward] = faces[inward][:, ::-1]
    return vertices, faces
