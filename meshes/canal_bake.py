"""From tables on stations and angles to the spline coefficients that the kernels read."""

import numpy as np
from scipy.ndimage import spline_filter1d

from meshes.canal_axis import STEP

HEIGHT_STEP, HEIGHT_MARGIN = 2.0, 20.0  # [mm]


def spline(table):
    """Return cubic B-spline coefficients (n, m) of a table: mirrored at its ends, periodic around."""
    return spline_filter1d(spline_filter1d(table, 3, axis=0, mode="mirror"), 3, axis=1, mode="grid-wrap")


def steepness(radius, *, turn):
    """Return 1 / |gradient| of (radius of the surface - r), (n, m): it makes the difference a distance."""
    along = np.gradient(radius, STEP, axis=0)
    around = (np.roll(radius, -1, axis=1) - np.roll(radius, 1, axis=1)) / (2.0 * turn)
    return 1.0 / np.sqrt(1.0 + (around / radius) ** 2 + along**2)


def surface_coefficients(wall, dura, *, turn):
    """Return (n, m, 4): wall, its steepness, dura, its steepness."""
    tables = (wall, steepness(wall, turn=turn), dura, steepness(dura, turn=turn))
    return np.ascontiguousarray(np.stack([spline(t) for t in tables], axis=-1))


def radius_coefficients(cord, closed_wall, dura, wall):
    """Return (n, m, 4) in this order."""
    return np.ascontiguousarray(np.stack([spline(t) for t in (cord, closed_wall, dura, wall)], axis=-1))


def frame_coefficients(axis):
    """Return (n, 12): centre, tangent, left, dorsal; straight beyond the ends."""
    rows = np.hstack([axis.centre, axis.tangent, axis.left, axis.dorsal])
    ends = 2.0 * rows[:1] - rows[1:2], 2.0 * rows[-1:] - rows[-2:-1]
    longer = np.vstack([ends[0], rows, ends[1]])
    return np.ascontiguousarray(spline_filter1d(longer, 3, axis=0, mode="mirror")[1:-1])


def height_table(axis):
    """Return (table, params): stations over height, and the four numbers that place all tables."""
    # Only a first guess for the foot point, so a height that turns back may be flattened.
    heights = np.maximum.accumulate(axis.centre[:, 2]) + 1e-9 * np.arange(len(axis.u))
    first = heights[0] - HEIGHT_MARGIN
    grid = np.arange(first, heights[-1] + HEIGHT_MARGIN, HEIGHT_STEP)
    return np.interp(grid, heights, axis.u), np.array([axis.u[0], STEP, first, HEIGHT_STEP])
