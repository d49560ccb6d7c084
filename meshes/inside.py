"""Which points of a grid lie inside a closed mesh: the parity of the triangles passed along each column."""

import math

import numpy as np

from meshes.compiled import kernel


@kernel
def columns_beside(one, two, three, origin, pitch, count):
    """Return (first, last + 1) of the grid lines that a triangle with these coordinates may cover."""
    first = math.floor((min(one, two, three) - origin) / pitch)
    last = math.ceil((max(one, two, three) - origin) / pitch)
    return max(0, first), min(count - 1, last) + 1


@kernel
def height_over(a, b, c, x, y):
    """Return z of the triangle a, b, c over (x, y), nan beside it.

    Edges are half open, so that of two triangles that share one only one holds a point on it.
    """
    within, p = False, c
    for q in (a, b, c):
        if (p[1] > y) != (q[1] > y) and x < (q[0] - p[0]) * (y - p[1]) / (q[1] - p[1]) + p[0]:
            within = not within
        p = q
    turned = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    if not within or turned == 0.0:
        return np.nan
    t = ((x - a[0]) * (c[1] - a[1]) - (y - a[1]) * (c[0] - a[0])) / turned
    s = ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])) / turned
    return a[2] + t * (b[2] - a[2]) + s * (c[2] - a[2])


@kernel
def mark_crossings(vertices, faces, origin, pitch, crossed):
    """Add one to crossed (nz + 1, ny, nx) at the first grid point above each triangle, column by column."""
    layers, ny, nx = crossed.shape
    for face in range(faces.shape[0]):
        a, b, c = vertices[faces[face, 0]], vertices[faces[face, 1]], vertices[faces[face, 2]]
        first_x, end_x = columns_beside(a[0], b[0], c[0], origin[0], pitch, nx)
        first_y, end_y = columns_beside(a[1], b[1], c[1], origin[1], pitch, ny)
        for j in range(first_y, end_y):
            for i in range(first_x, end_x):
                z = height_over(a, b, c, origin[0] + i * pitch, origin[1] + j * pitch)
                if not math.isnan(z):
                    above = math.ceil((z - origin[2]) / pitch)
                    crossed[min(max(above, 0), layers - 1), j, i] += 1


def inside_mesh(vertices, faces, *, origin, pitch, shape):
    """Return bool (nz, ny, nx): the grid points that lie inside a closed mesh.

    Parameters
    ----------
    vertices, faces : (n, 3) float, (m, 3) int
        Closed; bodies may not lie inside each other. [mm]
    origin : (3,) float
        First grid point. [mm]

    Source
    ------
    Parity of crossings; edges by W. R. Franklin's half-open rule for points in polygons (from memory).
    """
    crossed = np.zeros((shape[0] + 1, *shape[1:]), np.int32)
    vertices, faces = np.require(vertices, float, ["C", "W"]), np.require(faces, np.int32, ["C", "W"])
    mark_crossings(vertices, faces, np.require(origin, float, ["C", "W"]), float(pitch), crossed)
    return np.cumsum(crossed[:-1], axis=0) % 2 == 1
