"""Pedicle screws with their rods: where they lie in a posed column, as capsules and as closed meshes."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from meshes.findings import PedicleScrews, levels_between, of_kind
from meshes.frames import unit
from meshes.landmarks import pedicle_centres
from meshes.levels import SACRUM, is_lumbar
from meshes.swept import swept_solid
from meshes.tables.loader import number

SIDES = {"left": 1.0, "right": -1.0}
# Where the left pedicle of S1 is looked for, in the bone's frame at stature 1: low and high corner. [mm]
SACRAL_PEDICLE = ((18.0, 10.0, -5.0), (27.0, 18.0, 5.0))
DEEPEST = 0.2  # [mm] that a place may lie shallower than the deepest and still count as its middle
MARCH, FARTHEST_ENTRY = 0.25, 40.0  # [mm]
IN_FRONT = 3.0  # [mm] of bone that stays in front of the tip
SHORTEST = 15.0  # [mm]
ROD_BEYOND = 8.0  # [mm] that a rod stands out of its last heads
ROD_PIECE = 3.0


@dataclass(frozen=True, eq=False)
class Screw:
    """One screw in the patient's frame. [mm]

    Parameters
    ----------
    level, side : str
    entry, tip : (3,) float
        Where the shaft enters the bone behind the pedicle, and where it ends in the body.
    radius : float
        Of the shaft, thread included.
    """

    level: str
    side: str
    entry: np.ndarray
    tip: np.ndarray
    radius: float

    @property
    def direction(self):
        return unit(self.tip - self.entry)

    @property
    def head(self):
        """Middle (3,) of the head, through which the rod runs."""
        return self.entry - 0.5 * number("implants", "screw.head_length") * self.direction


@dataclass(frozen=True, eq=False)
class Rod:
    """One rod: its name and the middle line (n, 3) in the patient's frame. [mm]"""

    name: str
    line: np.ndarray


def _region(level):
    return "sacral" if level == SACRUM else "lumbar" if is_lumbar(level) else "thoracic"


def _middle(bone, side, scale):
    """Return the middle (3,) of one pedicle in the bone's frame."""
    if bone.level == SACRUM:
        axes = [np.linspace(low, high, 9) for low, high in zip(*SACRAL_PEDICLE)]
        places = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 3) * scale * [SIDES[side], 1.0, 1.0]
        distance = bone.grid.at(places)
        return places[distance <= distance.min() + DEEPEST].mean(axis=0)
    return pedicle_centres(bone, scale=scale)[0 if side == "left" else 1]


def _last_inside(bone, start, direction, *, room, farthest):
    """Return how far from `start` a line last has `room` of bone round it before it leaves the bone. [mm]"""
    places = np.arange(0.0, farthest, MARCH)
    distance = bone.grid.at(start + places[:, None] * direction)
    outside = distance > 0.0
    within = np.arange(len(places)) < (int(np.argmax(outside)) if outside.any() else len(places))
    deep = np.flatnonzero(within & (distance <= -room))
    return float(places[deep[-1]]) if len(deep) else 0.0


def place_screw(bone, pose, side, *, scale=1.0):
    """Return the Screw through one pedicle: square to the body's axis, turned inward, inside the body.

    As thick as common practice has it, but never thicker than its share of the pedicle's width.

    Raises
    ------
    ValueError
        If there is no pedicle to hold it.
    """
    middle, region = _middle(bone, side, scale), _region(bone.level)
    if np.isnan(middle).any() or bone.grid.at(middle) >= 0.0:
        raise ValueError(
            f"pedicle-screws must have a pedicle to hold, got none at {bone.level} {side}: "
            "leave that level out"
        )
    medial = number("implants", f"screw.{region}_medial")
    forward = np.array([-SIDES[side] * np.sin(medial), -np.cos(medial), 0.0])
    behind = _last_inside(bone, middle, -forward, room=0.0, farthest=FARTHEST_ENTRY)
    entry = middle - behind * forward
    longest = behind + _last_inside(bone, middle, forward, room=IN_FRONT * scale, farthest=2 * FARTHEST_ENTRY)
    length = max(min(number("implants", f"screw.{region}_length") * scale, longest), SHORTEST)
    width = -2.0 * float(bone.grid.at(middle)) * number("implants", "screw.largest_share_of_pedicle")
    radius = 0.5 * min(number("implants", f"screw.{region}_diameter"), width)
    return Screw(bone.level, side, pose.apply(entry), pose.apply(entry + length * forward), radius)


def screws(anatomy):
    """Return the tuple of all Screws of an anatomy's findings."""
    scale = anatomy.parameters.stature_scale
    return tuple(
        place_screw(anatomy.bones[level], anatomy.poses[level], side, scale=scale)
        for finding in of_kind(anatomy.parameters.findings, PedicleScrews)
        for level in levels_between(finding.upper, finding.lower)
        for side in SIDES
    )


def _rod(finding, side, placed):
    """Return the Rod of one side through the heads of a construct; `placed` maps (level, side) to Screw."""
    levels = levels_between(finding.upper, finding.lower)
    heads = np.array([placed[level, side].head for level in levels])
    ends = unit(heads[:2] - heads[1::-1])[0], unit(heads[-1] - heads[-2])
    knots = np.vstack([heads[0] + ROD_BEYOND * ends[0], heads, heads[-1] + ROD_BEYOND * ends[1]])
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(knots, axis=0), axis=1)))
    line = CubicSpline(along, knots)(np.linspace(0.0, along[-1], int(along[-1] / ROD_PIECE) + 2))
    return Rod(f"rod {finding.upper}-{finding.lower} {side}", line)


def rods(anatomy, placed):
    """Return the tuple of all Rods; a construct of one level has none. `placed` are the screws."""
    by_place = {(screw.level, screw.side): screw for screw in placed}
    return tuple(
        _rod(finding, side, by_place)
        for finding in of_kind(anatomy.parameters.findings, PedicleScrews)
        if finding.upper != finding.lower
        for side in SIDES
    )


def screw_mesh(screw, *, sides=20):
    """Return (vertices, faces) of shaft and head as one closed body; the thread is not drawn."""
    length = float(np.linalg.norm(screw.tip - screw.entry))
    head, back = 0.5 * number("implants", "screw.head_diameter"), number("implants", "screw.head_length")
    taper = min(6.0, 0.3 * length)
    places = np.array([length, length - 1.0, length - taper, 8.0, 0.3, 0.0, 0.3 - back, -back])
    radii = np.array([0.15, 0.5, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0]) * screw.radius
    radii[-3:] = head, head, 0.85 * head
    points = screw.entry + places[:, None] * screw.direction
    return swept_solid(points, half_axes=np.column_stack([radii, radii]), sides=sides)


def rod_mesh(rod, *, sides=16):
    """Return (vertices, faces) of a rod, closed."""
    radius = 0.5 * number("implants", "rod.diameter")
    return swept_solid(rod.line, half_axes=(radius, radius), sides=sides)
