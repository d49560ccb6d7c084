"""The smooth axis of the canal: positions and frames over arc length, caudal to cranial."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from meshes.levels import SACRUM

STEP = 1.0  # [mm] between stations
FINE = 0.5  # [mm] while drawing the curve
# Beyond the last point of the first and the last bone; in the sacrum far enough below its first lamina, there
# at stature 1. [mm]
OVERHANG, SACRAL_OVERHANG = 12.0, 25.0
# Shares of the body height at which a bone lends the rough axis a point.
HEIGHTS = (-0.32, 0.32)
ROUGH_SMOOTHING = 5.0  # [mm]


@dataclass(frozen=True, eq=False)
class Axis:
    """Stations of an axis with an orthonormal frame at each.

    Parameters
    ----------
    u : (n,) float
        Arc length from the caudal end. [mm]
    centre, tangent, left, dorsal : (n, 3) float
        tangent points cranially, dorsal = tangent x left.
    """

    u: np.ndarray
    centre: np.ndarray
    tangent: np.ndarray
    left: np.ndarray
    dorsal: np.ndarray

    def station(self, points):
        """Return the arc length (...) of points (..., 3): the nearest station and one Newton step. [mm]"""
        points = np.asarray(points, float)
        flat = points.reshape(-1, 3)
        nearest = cKDTree(self.centre).query(flat)[1]
        along = np.einsum("ij,ij->i", flat - self.centre[nearest], self.tangent[nearest])
        return (self.u[nearest] + along).reshape(points.shape[:-1])


def smoothed(table, width):
    """Return a table over stations, blurred along them by a Gaussian of `width` [mm]."""
    return gaussian_filter1d(table, width / STEP, axis=0, mode="nearest")


def _unit_rows(vectors):
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


def axis_through(points, lefts, *, smoothing=0.0):
    """Return the Axis of a smooth curve near `points` (k, 3) with `lefts` (k, 3) pointing left there.

    Parameters
    ----------
    smoothing : float
        Width of the Gaussian that blurs the curve; 0 passes through the points. [mm]
    """
    chord = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    fine = np.arange(0.0, chord[-1], FINE)
    curve = CubicSpline(chord, points)(fine)
    if smoothing:
        curve = gaussian_filter1d(curve, smoothing / FINE, axis=0, mode="nearest")
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
    by_arc = CubicSpline(arc, curve)
    u = np.arange(0.0, arc[-1] + 1e-9, STEP)
    tangent = _unit_rows(by_arc(u, 1))
    left = CubicSpline(arc, CubicSpline(chord, lefts)(fine))(u)
    left = _unit_rows(left - np.einsum("ij,ij->i", left, tangent)[:, None] * tangent)
    return Axis(u, by_arc(u), tangent, left, np.cross(tangent, left))


def rough_axis(bones, poses, levels, *, scale):
    """Return the Axis through the middle of the bony canal of `levels` (caudal to cranial)."""
    points, lefts = [], []
    for level in levels:
        shape, pose = bones[level].shape, poses[level]
        y = shape.posterior_wall + 0.5 * shape.canal_depth
        for share in HEIGHTS:
            points.append(pose.apply(scale * np.array([0.0, y, share * shape.posterior_height])))
            lefts.append(pose.rotation[:, 0])
    points = np.array(points)
    ends = _unit_rows(np.array([points[0] - points[1], points[-1] - points[-2]]))
    overhangs = SACRAL_OVERHANG * scale if levels[0] == SACRUM else OVERHANG, OVERHANG
    first, last = points[[0, -1]] + np.array(overhangs)[:, None] * ends
    return axis_through(
        np.vstack([first, points, last]),
        np.vstack([lefts[0], lefts, lefts[-1]]),
        smoothing=ROUGH_SMOOTHING,
    )
