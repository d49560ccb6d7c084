"""Dural sac and spinal cord as closed tubes, drawn from the canal chart."""

import numpy as np

RING_STEP = 2  # stations between rings
THINNEST_CORD = 0.3  # [mm] half axis below which the cord has ended


def tube(rings):
    """Return (vertices, faces) of a closed tube.

    Parameters
    ----------
    rings : (n, m, 3) float
        Points of each ring, counterclockwise seen from the last ring. [mm]

    Returns
    -------
    vertices : (n m + 2, 3) float
        The rings, then the middle of the first and of the last, which close the ends.
    faces : (k, 3) int
        Oriented outward.
    """
    n, m = rings.shape[:2]
    vertices = np.vstack([rings.reshape(-1, 3), rings[0].mean(axis=0), rings[-1].mean(axis=0)])
    column = np.arange(m)
    following = (column + 1) % m
    low = (m * np.arange(n - 1))[:, None]
    a, b = low + column, low + following
    sides = [np.stack(corner, axis=-1).reshape(-1, 3) for corner in ((a, b, b + m), (a, b + m, a + m))]
    last = m * (n - 1)
    bottom = np.stack([np.full(m, n * m), following, column], axis=-1)
    top = np.stack([np.full(m, n * m + 1), last + column, last + following], axis=-1)
    return vertices, np.vstack([*sides, bottom, top])


def _stations(count):
    return np.unique(np.append(np.arange(0, count, RING_STEP), count - 1))


def _rings(chart, rows, across, back):
    """Return (rows, m, 3) points, `across` to the left and `back` dorsal of the axis."""
    points = chart.centre[rows, None] + across[..., None] * chart.left[rows, None]
    points = points + back[..., None] * chart.dorsal[rows, None]
    # theta runs from dorsal to the left: seen from the cranial end that is clockwise.
    return points[:, ::-1]


def dura_mesh(chart):
    """Return (vertices, faces) of the dural sac over the whole chart, closed. [mm]"""
    rows = _stations(len(chart.u))
    radius = chart.dura[rows]
    return tube(_rings(chart, rows, radius * np.sin(chart.theta), radius * np.cos(chart.theta)))


def cord_mesh(chart):
    """Return (vertices, faces) of the spinal cord from the conus to the top of the chart, closed. [mm]"""
    rows = _stations(len(chart.u))
    rows = rows[chart.cord_half_depth[rows] > THINNEST_CORD]
    across = chart.cord_shift + chart.cord_half_width[rows, None] * np.sin(chart.theta)
    back = chart.cord_offset[rows, None] + chart.cord_half_depth[rows, None] * np.cos(chart.theta)
    return tube(_rings(chart, rows, across, back))
