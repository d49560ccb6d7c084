"""Where laminae, flava and discs lie along the axis of the canal."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from meshes.tables.loader import number

# Discs bulge between points this far inside the end plates. [mm]
PLATE_INSET = 2.5
# A level's own station is read this far behind its posterior wall. [mm]
BEHIND_WALL = 6.0


@dataclass(frozen=True)
class Interspace:
    """Stations of one interspace on the midline, caudal to cranial. [mm]

    Parameters
    ----------
    upper, lower : str
        Its vertebrae.
    flavum_caudal, flavum_cranial : float
        Cranial edge of the lower lamina, where the flavum begins, and where it ends on the upper one.
    disc_caudal, disc_cranial : float
        Where the back of the disc leaves the lower and meets the upper body.
    lamina_caudal_edge : float
        Caudal edge of the upper lamina.
    """

    upper: str
    lower: str
    flavum_caudal: float
    flavum_cranial: float
    disc_caudal: float
    disc_cranial: float
    lamina_caudal_edge: float

    @property
    def name(self):
        return f"{self.upper}-{self.lower}"

    @property
    def gap(self):
        """Free height between the laminae along the axis. [mm]"""
        return self.lamina_caudal_edge - self.flavum_caudal

    @property
    def middle(self):
        """Station half way between the laminae. [mm]"""
        return 0.5 * (self.flavum_caudal + self.lamina_caudal_edge)


def _points(pose, scale, y, z):
    y, z = np.broadcast_arrays(y, z)
    return pose.apply(scale * np.stack([np.zeros_like(y, float), y, z], axis=-1))


def level_stations(axis, bones, poses, levels, *, scale, height=0.0):
    """Return the stations (levels,) of the bodies, `height` [mm] above their centres."""
    points = [
        _points(poses[n], scale, bones[n].shape.posterior_wall + BEHIND_WALL, height / scale) for n in levels
    ]
    return axis.station(np.array(points))


def level_spans(axis, bones, poses, levels, *, scale):
    """Return a tuple of (level, station of the lower, of the upper end plate's posterior rim)."""
    spans = []
    for level in levels:
        shape = bones[level].shape
        rims = np.array([-0.5, 0.5]) * shape.posterior_height
        bottom, top = axis.station(_points(poses[level], scale, shape.posterior_wall, rims))
        spans.append((level, float(bottom), float(top)))
    return tuple(spans)


def lamina_spans(axis, bones, poses, levels, x, *, scale):
    """Return stations (levels, k) of the caudal and of the cranial lamina edge, x (k,) mm off the midline."""
    points = []
    for level in levels:
        edges, pose = bones[level].shape.lamina, poses[level]
        y, z = edges.bottom(np.asarray(x) / scale)
        points.append(_points(pose, scale, y, z - edges.bottom_radius))
        y, z = edges.top(np.asarray(x) / scale)
        points.append(_points(pose, scale, y - edges.top_radius, z + 0.4 * edges.top_radius))
    stations = axis.station(np.array(points))
    return stations[0::2], stations[1::2]


def flavum_hold(caudal, cranial):
    """Return the station where a flavum ends on the lamina between these two edge stations. [mm]"""
    return caudal + number("flavum", "hold_on_upper_lamina") * (cranial - caudal)


def interspaces(axis, bones, poses, levels, *, scale):
    """Return {name: Interspace} of neighbouring `levels`, caudal to cranial."""
    caudal, cranial = (span[:, 0] for span in lamina_spans(axis, bones, poses, levels, [0.0], scale=scale))
    found = {}
    for k, (lower, upper) in enumerate(pairwise(levels)):
        plates = []
        for level, sign in ((lower, 1.0), (upper, -1.0)):
            shape = bones[level].shape
            z = sign * (0.5 * shape.posterior_height - PLATE_INSET)
            plates.append(float(axis.station(_points(poses[level], scale, shape.posterior_wall, z))))
        hold = flavum_hold(caudal[k + 1], cranial[k + 1])
        mark = Interspace(upper, lower, float(cranial[k]), float(hold), *plates, float(caudal[k + 1]))
        found[mark.name] = mark
    return found


def lamina_offset(theta):
    """Return how far off the midline (k,) a ray at `theta` meets the laminae, roughly. [mm]"""
    return np.minimum(np.abs(np.sin(theta)) * 10.0, 12.0)
