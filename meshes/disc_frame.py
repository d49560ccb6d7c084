"""The frame of one disc of the posed column, in which windows are told."""

from dataclasses import dataclass

import numpy as np

from meshes.frames import unit
from meshes.levels import split_interspace


@dataclass(frozen=True, eq=False)
class DiscFrame:
    """The frame of one disc: local = axes @ (point - centre).

    Cranial is square to the plane that halves the two facing endplates.

    Parameters
    ----------
    axes : (3, 3) float
        Rows: left, posterior, cranial.
    centre : (3,) float
        Middle of the disc. [mm]
    posterior_line : float
        y of the line that joins the posterior walls of the two bodies. [mm]
    """

    axes: np.ndarray
    centre: np.ndarray
    posterior_line: float

    def local(self, points):
        return (np.asarray(points) - self.centre) @ self.axes.T


def disc_frame(anatomy, interspace):
    """Return the DiscFrame between two neighbouring levels of the posed column."""
    upper, lower = split_interspace(interspace)
    below = _endplate(anatomy, upper, side=-1.0)
    above = _endplate(anatomy, lower, side=1.0)
    cranial = unit(below[1] + above[1])
    left = anatomy.poses[upper].rotation[:, 0] + anatomy.poses[lower].rotation[:, 0]
    left = unit(left - cranial * (left @ cranial))
    axes = np.array([left, np.cross(cranial, left), cranial])
    centre = 0.5 * (below[0] + above[0])
    line = 0.5 * ((below[2] - centre) @ axes[1] + (above[2] - centre) @ axes[1])
    return DiscFrame(axes, centre, float(line))


def _endplate(anatomy, level, *, side):
    """Return centre, cranial normal and posterior corner of an endplate; `side` +1 upper, -1 lower."""
    shape, pose = anatomy.bones[level].shape, anatomy.poses[level]
    scale = anatomy.parameters.stature_scale
    half = 0.25 * (shape.posterior_height + shape.anterior_height)
    tilt = 0.5 * side * np.arctan2(shape.anterior_height - shape.posterior_height, shape.body_depth)
    corner = [0.0, shape.posterior_wall * scale, 0.5 * side * shape.posterior_height * scale]
    normal = pose.turn([0.0, np.sin(tilt), np.cos(tilt)])
    return pose.apply([0.0, 0.0, side * half * scale]), normal, pose.apply(corner)
