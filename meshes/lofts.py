"""Closed surfaces laid over a stack of rings."""

import numpy as np


def closed_loft(rings):
    """Return vertices, faces of the closed surface over rings (n, m, 3), each end closed at its middle.

    Oriented outward where the rings run counter-clockwise as seen from the last one.
    """
    count, around = rings.shape[:2]
    i, j = np.meshgrid(np.arange(count - 1), np.arange(around), indexing="ij")
    a, b = i * around + j, i * around + (j + 1) % around
    quads = np.stack([a, b, b + around, a + around], axis=-1).reshape(-1, 4)
    j = np.arange(around)
    k, top = (j + 1) % around, (count - 1) * around
    first = np.column_stack([k, j, np.full(around, count * around)])
    last = np.column_stack([top + j, top + k, np.full(around, count * around + 1)])
    ends = rings[[0, -1]].mean(axis=1)
    vertices = np.vstack([rings.reshape(-1, 3), ends])
    return vertices, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], first, last])
