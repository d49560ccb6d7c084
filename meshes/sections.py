"""Plane sections of a triangle mesh, and where a straight line crosses such a section."""

import numpy as np


def plane_section(vertices, faces, *, axis, at):
    """Return the segments in which the plane `coordinate[axis] = at` cuts a triangle mesh.

    A vertex that lies exactly on the plane counts as below it, so a closed mesh gives closed outlines.

    Parameters
    ----------
    vertices : (n, 3) float
        [mm]
    faces : (m, 3) int
    axis : int
        0, 1 or 2: the coordinate that is constant on the plane.
    at : float
        [mm]

    Returns
    -------
    (k, 2, 2) float
        Ends of each segment, in the two other coordinates in their order. [mm]
    """
    vertices = np.asarray(vertices, float)
    height = vertices[:, axis] - at
    above = height > 0.0
    first, second, third = (above[faces[:, k]] for k in range(3))
    cut = (first != second) | (second != third)
    faces, first, second, third = faces[cut], first[cut], second[cut], third[cut]
    # The corner that lies alone on its side of the plane.
    lone = np.where(second == third, 0, np.where(first == third, 1, 2))
    rows = np.arange(len(faces))
    tip = faces[rows, lone]
    other = np.stack([faces[rows, (lone + 1) % 3], faces[rows, (lone + 2) % 3]], axis=1)
    share = height[tip][:, None] / (height[tip][:, None] - height[other])
    kept = [k for k in range(3) if k != axis]
    start = vertices[tip][:, None, kept]
    return start + (vertices[other][:, :, kept] - start) * share[..., None]


def sampled(segments):
    """Return points (3k, 2): both ends and the middle of every segment."""
    return np.concatenate([segments[:, 0], segments[:, 1], segments.mean(axis=1)])


def line_crossings(segments, *, axis, at):
    """Return, sorted, where the line `coordinate[axis] = at` crosses the segments of a section.

    Parameters
    ----------
    segments : (k, 2, 2) float
        As `plane_section` returns them. [mm]
    axis : int
        0 or 1: the coordinate of the section that is constant on the line.
    at : float
        [mm]

    Returns
    -------
    (c,) float
        The other coordinate at each crossing. [mm]
    """
    start, end = segments[:, 0], segments[:, 1]
    cut = (start[:, axis] > at) != (end[:, axis] > at)
    start, end = start[cut], end[cut]
    share = (at - start[:, axis]) / (end[:, axis] - start[:, axis])
    return np.sort(start[:, 1 - axis] + share * (end[:, 1 - axis] - start[:, 1 - axis]))
