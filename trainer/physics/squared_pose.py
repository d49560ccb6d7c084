"""The pose of the C-arm that squares a level, in closed form."""

import math

import numpy as np

from meshes.frames import unit
from meshes.levels import check_level

VIEWS = ("frontal", "lateral")


def plate_normal(marks):
    """Return the unit normal (3,) half way between both plates of a level; of S1 its upper plate's."""
    upper, lower = marks.upper_endplate[1], marks.lower_endplate[1]
    return unit(upper) if math.isnan(lower[0]) else unit(upper + lower)


def _frontal(anatomy, marks, normal):
    """Return where the beam must run so that the spinous process lies half way between the pedicles."""
    if marks.spinous_tip is None or np.isnan(marks.pedicle_centres).any():
        # Without process or pedicles the body's own frame stands for them.
        return np.cross(normal, anatomy.poses[marks.level].rotation[:, 0])
    return marks.spinous_tip - marks.pedicle_centres.mean(axis=0)


def squared_pose(anatomy, level, *, view="frontal"):
    """Return (orbit, tilt) [rad] at which the middle ray, aimed at a level, runs along its plates.

    Frontal: with the spinous process half way between the pedicles. Lateral: from the vertebra's left to its
    right. Holds exactly for the middle ray; a level off the middle of the picture is seen at another angle.

    Raises
    ------
    ValueError
        If the level or the view is unknown.
    """
    if view not in VIEWS:
        raise ValueError(f"view must be one of {', '.join(VIEWS)}, got {view!r}: choose one of these")
    marks = anatomy.landmarks.levels[check_level(level)]
    normal = plate_normal(marks)
    if view == "frontal":
        toward = _frontal(anatomy, marks, normal)
    else:
        toward = -anatomy.poses[marks.level].rotation[:, 0]
    x, y, z = unit(toward - (toward @ normal) * normal)
    return math.atan2(-x, y), math.asin(z)
