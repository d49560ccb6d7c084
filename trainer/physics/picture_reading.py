"""What a picture shows of a level, measured from geometry: squared plates, central process, true lateral.

Signs and limits are told at each value. All distances on the picture are in mm at the depth of the level,
so that they compare with the patient.
"""

import math
from dataclasses import dataclass

import numpy as np

from meshes.frames import unit
from meshes.levels import check_level
from meshes.tables.loader import number
from trainer.physics.lamina_angle import lamina_angle
from trainer.physics.picture_rays import beam_at, millimetres_per_pixel, picture_point


@dataclass(frozen=True)
class EndplateReading:
    """How far the beam at a level is from running along its plates. [rad]

    Parameters
    ----------
    level : str
    upper, lower, mean : float
        Between the ray through the middle of a plate and the plate; positive where the beam climbs toward the
        head faster than the plate. `lower` is nan for S1, whose mean is the upper one.
    squared : bool
        Whether the mean lies within the limit of the table.
    """

    level: str
    upper: float
    lower: float
    mean: float
    squared: bool


@dataclass(frozen=True)
class SpinousReading:
    """Where the tip of a spinous process appears between the pedicles.

    Parameters
    ----------
    level : str
    offset : float
        From half way between the pedicles, positive toward the left pedicle. [mm]
    pedicle_distance : float
        As projected. [mm]
    share : float
        The one by the other; nan where process or pedicles are gone.
    central : bool
    """

    level: str
    offset: float
    pedicle_distance: float
    share: float
    central: bool


@dataclass(frozen=True)
class LateralReading:
    """How far left and right are from lying on each other. [mm]

    Parameters
    ----------
    level : str
    endplates : (2,) float
        Between the left and the right rim of the upper and of the lower plate, across the plate: the double
        contour.
    pedicles : float
        Between the middles of both pedicles; nan where one is gone, and for the sacrum.
    ribs : float
        Between the heads of the nearest pair of ribs in the picture, nan without one.
    crests : float
        Between the highest points of the iliac crests, nan where they lie outside the picture. Ribs and
        crests far from the middle ray stay apart by parallax even in a true lateral.
    true : bool
        Whether plates and pedicles lie on each other within the limit of the table.
    """

    level: str
    endplates: tuple
    pedicles: float
    ribs: float
    crests: float
    true: bool


@dataclass(frozen=True)
class ObliqueReading:
    """The orbit against the slope of the lamina on the needle's side. [rad]

    Parameters
    ----------
    level, side : str
    orbit, lamina : float
        As set, and as this anatomy asks for.
    difference : float
        Orbit less lamina, positive where the C-arm is turned too far.
    fits : bool
        Whether it lies within the limit of the table.
    """

    level: str
    side: str
    orbit: float
    lamina: float
    difference: float
    fits: bool


def _plate_angle(carm, plate):
    centre, normal = plate
    return (
        float(np.arcsin(np.clip(beam_at(carm, centre) @ normal, -1.0, 1.0)))
        if centre[0] == centre[0]
        else math.nan
    )


def read_endplates(anatomy, level, *, carm):
    """Return the EndplateReading of a level; raises ValueError for an unknown level."""
    marks = anatomy.landmarks.levels[check_level(level)]
    upper, lower = (_plate_angle(carm, plate) for plate in (marks.upper_endplate, marks.lower_endplate))
    mean = upper if math.isnan(lower) else 0.5 * (upper + lower)
    return EndplateReading(
        marks.level, upper, lower, mean, abs(mean) <= number("picture_reading", "endplate.limit")
    )


def read_spinous(anatomy, level, *, carm):
    """Return the SpinousReading of a level; raises ValueError for an unknown level."""
    marks = anatomy.landmarks.levels[check_level(level)]
    left, right = picture_point(carm, marks.pedicle_centres)
    across = left - right
    distance = float(np.linalg.norm(across))
    tip = np.full(2, np.nan) if marks.spinous_tip is None else picture_point(carm, marks.spinous_tip)
    offset = float((tip - 0.5 * (left + right)) @ across) / distance
    size = millimetres_per_pixel(carm, marks.body_centre)
    share = offset / distance
    central = abs(share) <= number("picture_reading", "spinous.limit")
    return SpinousReading(marks.level, offset * size, distance * size, share, bool(central))


def _double_contour(anatomy, level, plate, *, carm):
    """Return how far the left and the right rim of a plate lie apart on the picture. [pixels]"""
    centre, normal = plate
    if math.isnan(centre[0]):
        return math.nan
    shape, scale = anatomy.bones[level].shape, anatomy.parameters.stature_scale
    left = anatomy.poses[level].rotation[:, 0]
    left = unit(left - (left @ normal) * normal)
    # A plate is about a third wider than deep.
    half_width, half_depth = (0.5 * scale * k * shape.body_depth for k in (1.35, 1.0))
    back = np.cross(normal, left)
    rims = picture_point(carm, centre + np.array([half_width, -half_width])[:, None] * left)
    front, behind = picture_point(carm, centre + np.array([-half_depth, half_depth])[:, None] * back)
    along = (behind - front) / np.linalg.norm(behind - front)
    apart = rims[0] - rims[1]
    return float(abs(apart[0] * along[1] - apart[1] * along[0]))


def _apart(carm, pair):
    return float(np.linalg.norm(np.subtract(*picture_point(carm, np.asarray(pair)))))


def _inside(carm, pair):
    places = picture_point(carm, np.asarray(pair))
    return bool(np.all((places >= 0.0) & (places <= carm.pixels)))


def _nearest_ribs(anatomy, height, *, carm):
    """Return the heads (2, 3) of the pair of ribs nearest to a height that the picture shows, or None."""
    heads = anatomy.landmarks.rib_heads
    names = sorted({name.rsplit(" ", 1)[0] for name in heads})
    pairs = [np.array([heads[f"{name} left"], heads[f"{name} right"]]) for name in names]
    seen = [pair for pair in pairs if _inside(carm, pair)]
    return min(seen, key=lambda pair: abs(pair[:, 2].mean() - height), default=None)


def read_lateral(anatomy, level, *, carm):
    """Return the LateralReading of a level; raises ValueError for an unknown level."""
    marks = anatomy.landmarks.levels[check_level(level)]
    size = millimetres_per_pixel(carm, marks.body_centre)
    plates = tuple(
        size * _double_contour(anatomy, marks.level, plate, carm=carm)
        for plate in (marks.upper_endplate, marks.lower_endplate)
    )
    pedicles = size * _apart(carm, marks.pedicle_centres)
    ribs = _nearest_ribs(anatomy, marks.body_centre[2], carm=carm)
    crests = anatomy.landmarks.iliac_crest_line
    judged = [value for value in (*plates, pedicles) if not math.isnan(value)]
    return LateralReading(
        marks.level,
        plates,
        pedicles,
        math.nan if ribs is None else size * _apart(carm, ribs),
        size * _apart(carm, crests) if _inside(carm, crests) else math.nan,
        max(judged) <= number("picture_reading", "lateral.limit"),
    )


def read_oblique(anatomy, level, *, carm, side):
    """Return the ObliqueReading of a level for a needle from one side.

    Raises ValueError for an unknown level or side, or where that lamina has been removed.
    """
    level = check_level(level)
    wanted = lamina_angle(anatomy, level, side=side, tilt=carm.tilt)
    difference = (carm.orbit - wanted) * (1.0 if side == "left" else -1.0)
    fits = abs(difference) <= number("picture_reading", "oblique.limit")
    return ObliqueReading(level, side, carm.orbit, wanted, difference, bool(fits))
