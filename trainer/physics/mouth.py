"""Where the needle's mouth opens in the canal, and which way it points."""

import math
from dataclasses import dataclass

import numpy as np

from meshes.frames import unit
from meshes.levels import check_interspace
from meshes.units import degrees
from trainer.physics.needle import check_medial

# How far under the roof the mouth opens unless said otherwise; half the gap where the space is thinner. [mm]
USUAL_INSIDE = 1.5
LOWEST, HIGHEST = 2.0, 20.0
BISECTIONS = 40


@dataclass(frozen=True, eq=False)
class Mouth:
    """A needle's mouth.

    Parameters
    ----------
    point : (3,) float
        Where the lead leaves the needle. [mm]
    direction : (3,) float
        Along the needle, into the patient.
    up : (3,) float
        Where the pre-bend points with the hub at 12 o'clock: dorsal. Only its part across the needle counts.

    Raises
    ------
    ValueError
        If a vector has no length, or `up` lies along the needle.
    """

    point: np.ndarray
    direction: np.ndarray
    up: np.ndarray

    def __post_init__(self):
        direction = unit(self.direction)
        up = np.asarray(self.up, float)
        across = up - (up @ direction) * direction
        if np.linalg.norm(across) < 1e-6 * np.linalg.norm(up):
            raise ValueError(
                f"up must point across the needle, got {up} along {direction}: give the dorsal direction"
            )
        for name, value in (("point", self.point), ("direction", direction), ("up", unit(across))):
            value = np.array(value, float)
            value.setflags(write=False)
            object.__setattr__(self, name, value)


def mouth_from_placement(canal, *, interspace, offset, approach, medial, inside=None, fraction=0.7):
    """Return the Mouth of a needle that is named by where it enters the canal.

    Parameters
    ----------
    canal : meshes.canal.CanalChart
    interspace : str
        As 'T12-L1'.
    offset : float
        Of the mouth from the sac's centre, positive to the patient's left. [mm]
    approach : float
        Angle between needle and canal axis. [rad]
    medial : float
        How far the needle leans towards the midline from the side of the offset; from the midline, towards
        the patient's left. [rad]
    inside : float, optional
        Depth of the mouth under the roof; by default 1.5 mm, or half the gap where that is less. [mm]
    fraction : float
        Height in the interlaminar gap, from the lower lamina's edge (0) to the upper one's (1).

    Raises
    ------
    ValueError
        If the interspace is not charted, an angle is not one that a needle can be held at, or the offset or
        `inside` leaves no place for a mouth.
    """
    if not 0.0 < approach < 0.5 * np.pi:
        raise ValueError(
            f"approach_deg must be more than 0 and less than 90, got {degrees(approach):g}: 30 to 45 is usual"
        )
    check_medial(medial)
    if not math.isfinite(offset):
        raise ValueError(f"offset must be a number, got {offset:g}: give it in mm, left of the midline")
    if inside is not None and not inside > 0.0:
        raise ValueError(f"inside must be positive, got {inside:g}: the mouth lies under the roof")
    marks = canal.interspace(check_interspace(interspace))
    station = marks.flavum_caudal + fraction * (marks.lamina_caudal_edge - marks.flavum_caudal)
    point = _under_the_roof(canal, station, offset, inside)
    _, along, left, dorsal = canal.frame_at(station)
    towards = -1.0 if offset > 0.0 else 1.0
    level = np.cos(medial) * along + towards * np.sin(medial) * left
    return Mouth(point, np.cos(approach) * level - np.sin(approach) * dorsal, dorsal)


def _under_the_roof(canal, station, offset, inside):
    """Return the point at `offset` that keeps the wanted distance to the roof, by bisection of its height."""
    low, high = LOWEST, HIGHEST
    for _ in range(BISECTIONS):
        height = 0.5 * (low + high)
        point = canal.to_world(station, np.arctan2(offset, height), np.hypot(offset, height))
        room, to_dura = canal.contacts(point.reshape(1, 3))[0, [0, 4]]
        if room > _wanted_room(room, to_dura, inside):
            low = height
        else:
            high = height
    if room < 0.0:
        raise ValueError(
            f"offset must lie inside the canal, got {offset:g} mm: choose one nearer to the midline"
        )
    return point.reshape(3)


def _wanted_room(room, to_dura, inside):
    if inside is not None:
        return inside
    roomy = to_dura > 0.0 and room + to_dura > 2.0 * USUAL_INSIDE
    return USUAL_INSIDE if roomy else 0.5 * (room + to_dura)
