"""The wall of the canal: bone by ray marching, then flavum, disc and ligament across the gaps."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, minimum_filter1d

from meshes.canal_axis import STEP, smoothed
from meshes.canal_march import fade, limit_ratio_around, limit_slope_along, wrapped
from meshes.canal_marks import flavum_hold, lamina_offset, lamina_spans
from meshes.tables.loader import number
from meshes.units import radians

# Sectors: flavum behind, disc and posterior longitudinal ligament in front, foramina open between them.
FLAVUM_SECTOR, FLAVUM_EDGE = radians(66.0), radians(78.0)
DISC_SECTOR = radians(118.0)
SECTOR_FADE = radians(3.0)
RIDGE_SEARCH = 3.0  # [mm] along the axis, about the drawn lamina edge
FLAVUM_BOW, DISC_BULGE = 0.35, 0.4  # [mm] away from, toward the canal
LONGEST_BELOW, LONGEST_ABOVE = 14.0, 16.0  # [mm] a chord never starts farther out
THICKENING_RISE = 0.15  # share of the flavum's length over which extra thickness grows
# Shaping: funnels instead of cliffs, inside the true wall; then a blur that rounds rims. Measured: 95 % of
# the wall lies less than 0.1 mm behind the bone, all of it less than 0.6.
STEEPEST_ALONG, LARGEST_RATIO = 2.0, 1.6
BLUR_ALONG, BLUR_AROUND = 0.8, radians(4.0)
FORAMEN_SPAN, FORAMEN_DEPTH = 26.0, 7.0  # [mm]
SMALLEST_RADIUS = 2.5  # [mm]


@dataclass(frozen=True, eq=False)
class LaminaStations:
    """Stations of the lamina edges at every angle: caudal and cranial (levels, m). [mm]"""

    levels: tuple
    caudal: np.ndarray
    cranial: np.ndarray

    def of(self, level):
        """Return (caudal, cranial) edge stations (m,) of one level."""
        row = self.levels.index(level)
        return self.caudal[row], self.cranial[row]


def lamina_stations(axis, bones, poses, levels, theta, *, scale):
    """Return LaminaStations at the angles theta (m,)."""
    spans = lamina_spans(axis, bones, poses, levels, lamina_offset(theta), scale=scale)
    return LaminaStations(tuple(levels), *spans)


def flavum_thickness(marks, u, *, scale):
    """Return the thickness (n,) of the flavum at stations u, smooth between the interspaces. [mm]

    Parameters
    ----------
    marks : {name: Interspace}
    scale : float
        Stature times flavum scale.
    """
    knots = np.array([mark.middle for mark in marks.values()])
    values = np.array([number("flavum", f"{name}.thickness") for name in marks])
    return scale * PchipInterpolator(knots, values)(np.clip(u, knots[0], knots[-1]))


def _lower_ridge(radius, u, edge):
    """Return the row of the smallest radius near `edge` (m,), per column; -1 where there is no row."""
    near = (u[:, None] >= edge - RIDGE_SEARCH) & (u[:, None] < edge + RIDGE_SEARCH)
    rows = np.argmin(np.where(near, radius, np.inf), axis=0)
    return np.where(near.sum(axis=0) >= 2, rows, -1)


def _across_gap(wall, bone, u, *, begins, ends, thickening, weight):
    """Lower `wall` to the chord from row begins (m,) to row ends (m,), where weight (m,) says so."""
    rows = np.arange(len(u))[:, None]
    columns = np.arange(bone.shape[1])
    t = (u[:, None] - u[begins]) / np.where(ends > begins, u[ends] - u[begins], 1.0)
    inside = (rows >= begins) & (rows <= ends) & (ends - begins >= 2) & (begins >= 0)
    t = np.where(inside, t, 0.0)
    low = np.minimum(bone[begins, columns], LONGEST_BELOW)
    high = np.minimum(bone[ends, columns], LONGEST_ABOVE)
    chord = low * (1.0 - t) + high * t + FLAVUM_BOW * np.sin(np.pi * t)
    rise = np.clip(np.minimum(t, 1.0 - t) / THICKENING_RISE, 0.0, 1.0)
    chord = chord - thickening[:, None] * rise * rise * (3.0 - 2.0 * rise)
    filled = wall * (1.0 - weight) + np.minimum(wall, chord) * weight
    return np.where(inside, filled, wall)


def on_side(side, theta):
    """Return 1 at the angles theta (m,) on a side ("left", "right", "both" or None for neither), else 0."""
    if side in (None, "both"):
        return np.full(len(theta), float(side == "both"))
    angle = wrapped(theta)
    return 1.0 - fade(angle if side == "left" else -angle, 0.0, SECTOR_FADE)


def with_flavum(wall, bone, u, theta, *, marks, laminae, thickening, extra, missing):
    """Return wall (n, m) with the flava stretched over the interlaminar gaps.

    Each begins at the real ridge of the lower lamina, angle by angle, and ends half way up the upper one.
    `thickening` (n,) is what scaled flava bulge further into the canal, `extra` {interspace: more}. [mm]
    `missing` {interspace: side} names those that have been removed.
    """
    behind = np.flatnonzero(np.abs(wrapped(theta)) < FLAVUM_EDGE)
    weight = fade(np.abs(wrapped(theta[behind])), FLAVUM_SECTOR, SECTOR_FADE)
    wall = wall.copy()
    for mark in marks.values():
        _, edge = laminae.of(mark.lower)
        caudal, cranial = laminae.of(mark.upper)
        hold = flavum_hold(caudal, cranial)
        first = max(int(np.searchsorted(u, edge.min() - RIDGE_SEARCH)) - 1, 0)
        last = min(int(np.searchsorted(u, hold.max())) + 2, len(u))
        rows = slice(first, last)
        begins = _lower_ridge(bone[rows][:, behind], u[rows], edge[behind])
        ends = np.minimum(np.searchsorted(u[rows], hold[behind]), last - first - 1)
        wall[rows, behind] = _across_gap(
            wall[rows][:, behind],
            bone[rows][:, behind],
            u[rows],
            begins=begins,
            ends=ends,
            thickening=thickening[rows] + extra.get(mark.name, 0.0),
            weight=weight * (1.0 - on_side(missing.get(mark.name), theta[behind])),
        )
    return wall


def with_discs(wall, bone, u, theta, *, marks):
    """Return wall (n, m) with discs and the posterior longitudinal ligament across the gaps in front."""
    weight = 1.0 - fade(np.abs(wrapped(theta)), DISC_SECTOR, SECTOR_FADE)
    wall = wall.copy()
    for mark in marks.values():
        first, last = np.searchsorted(u, [mark.disc_caudal, mark.disc_cranial])
        rows = slice(first, last + 1)
        t = ((u[rows] - u[first]) / (u[last] - u[first]))[:, None]
        chord = bone[first] * (1.0 - t) + bone[last] * t - DISC_BULGE * np.sin(np.pi * t)
        wall[rows] = wall[rows] * (1.0 - weight) + np.minimum(wall[rows], chord) * weight
    return wall


def closed(wall):
    """Return the wall (n, m) with its foramina bridged: a morphological opening along the axis."""
    span = round(FORAMEN_SPAN / STEP) | 1
    opened = minimum_filter1d(wall, span, axis=0, mode="nearest")
    return smoothed(maximum_filter1d(opened, span, axis=0, mode="nearest"), 3.0)


def shaped(wall, closed_wall, *, turn):
    """Return the wall (n, m) as a smooth table: foramina of limited depth, funnels instead of cliffs.

    Parameters
    ----------
    turn : float
        Angle between columns. [rad]
    """
    wall = np.minimum(wall, closed_wall + FORAMEN_DEPTH)
    wall = limit_slope_along(wall, STEEPEST_ALONG * STEP)
    wall = limit_ratio_around(wall, 1.0 + LARGEST_RATIO * turn)
    wall = smoothed(wall, BLUR_ALONG)
    wall = gaussian_filter1d(wall, BLUR_AROUND / turn, axis=1, mode="wrap")
    return np.maximum(wall, SMALLEST_RADIUS)
