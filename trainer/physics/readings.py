"""What the trainer reads off a lead in the canal: level, side, region and clearance of tip and contacts.

Everything is read from the canal's chart. The limits between dorsal, lateral and ventral, of a dent worth a
warning and of a foramen are assumed: see meshes/tables/lead.csv.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from meshes.instruments import contact_middles
from meshes.swept import points_from_tip
from meshes.tables.loader import number
from meshes.units import degrees, radians

# A cord thinner than this is its tapering end, to which no distance is read. [mm]
LEAST_CORD = 0.5
THIRDS = ("lower third", "middle third", "upper third")
# Decimal levels: 9.0 is the top of T9, 9.99 its bottom; lumbar levels count on from 13 at L1.
FIRST_OF_REGION = {"T": 0, "L": 12, "S": 17}
TIP_NODES = 3
# Nearer to dorsal or ventral than this the bend points to no side.
NO_SIDE = radians(15.0)


@dataclass(frozen=True)
class ContactReading:
    """Where the middle of a contact lies; number 0 is the tip.

    Parameters
    ----------
    number : int
        1 is the contact nearest to the tip.
    level : str
        As 'T9 upper third' or 'T8-T9 disc'.
    level_number : float
        9.0 at the top of T9, 9.99 at its bottom, nan beyond the charted levels.
    station, height : float
        Along the canal, and dorsal of the sac's centre. [mm]
    axis_offset, anatomic_offset, cord_offset : float
        To the left of the sac's centre, of the midplane of the nearest vertebra, of the cord's middle. [mm]
    theta : float
        About the sac's centre, 0 dorsal, positive to the left. [rad]
    region : str
        'dorsal', 'lateral' or 'ventral'.
    dura_clearance, cord_clearance : float
        From the lead's surface; a negative one to the dura is a dent. nan where there is no cord. [mm]
    """

    number: int
    level: str
    level_number: float
    station: float
    height: float
    axis_offset: float
    anatomic_offset: float
    cord_offset: float
    theta: float
    region: str
    dura_clearance: float
    cord_clearance: float


@dataclass(frozen=True)
class Foramen:
    """Where a lead has left the canal beside a nerve root. `depth` beyond the canal's closed wall. [mm]"""

    side: str
    level: str
    depth: float
    tip_out: bool

    def __str__(self):
        part = "the tip" if self.tip_out else "a loop"
        return f"{part} lies {self.depth:.1f} mm in a foramen on the {self.side}, {self.level}"


@dataclass(frozen=True)
class LeadReading:
    """Everything that is read off one lead at rest.

    Parameters
    ----------
    tip : ContactReading
    contacts : tuple of ContactReading
        Those beyond the needle's mouth, from the tip.
    clock, clock_angle : str, float
        The hub as the turning hand sees it, patient prone: 12:00 dorsal, 3:00 the patient's right, 6:00
        ventral, 9:00 the patient's left; the angle is 0 at 12:00 and positive clockwise. [rad]
    bend_angle : float
        Where the bend at the tip truly points: 0 dorsal, positive to the patient's LEFT. [rad]
    push : float
        [N]
    dent_near_mouth, dent_elsewhere : float
        Of the dura, within 10 mm of the mouth and beyond. [mm]
    free_length : float
        Of lead beyond the mouth. [mm]
    excess_length : float
        Fed beyond what the tip has gained along the canal: the lead bows where it grows. [mm]
    foramen : Foramen or None
    warnings : tuple of str
    converged : bool
    """

    tip: ContactReading
    contacts: tuple
    clock: str
    clock_angle: float
    bend_angle: float
    push: float
    dent_near_mouth: float
    dent_elsewhere: float
    free_length: float
    excess_length: float
    foramen: Foramen | None
    warnings: tuple
    converged: bool

    @property
    def tip_level(self):
        return self.tip.level


def read_lead(state, anatomy_or_canal):
    """Return the LeadReading of a lead.

    Parameters
    ----------
    state : trainer.physics.lead.LeadState
    anatomy_or_canal : meshes.anatomy.Anatomy or meshes.canal.CanalChart
        The canal in which the lead lies.
    """
    canal = getattr(anatomy_or_canal, "canal", anatomy_or_canal)
    tip, *contacts = _contacts(state, canal)
    near, elsewhere = dents(state)
    mouth_station = float(canal.to_chart(state.mouth.point)[0])
    foramen = foramen_of(state, canal)
    return LeadReading(
        tip,
        tuple(contacts),
        clock_words(state.hub),
        _wrapped(state.hub),
        bend_angle(state, canal),
        state.push,
        near,
        elsewhere,
        state.fed,
        state.fed - (tip.station - mouth_station),
        foramen,
        _warnings(near, elsewhere, foramen, state.converged),
        state.converged,
    )


def redirections(hubs):
    """Return how often the bend was sent to the other side, from the hub's angle after each turn. [rad]

    Within 15 degrees of dorsal or ventral it points to no side.
    """
    sides = [math.copysign(1.0, math.sin(hub)) for hub in hubs if abs(math.sin(hub)) > math.sin(NO_SIDE)]
    return sum(before != after for before, after in itertools.pairwise(sides))


def clock_words(angle):
    """Return a clockwise angle from 12 o'clock [rad] as hours and minutes of the dial, '1:30'."""
    minutes = round(degrees(_wrapped(angle)) * 2.0) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def bend_angle(state, canal):
    """Return where the bend at the tip points, about the canal: 0 dorsal, positive to the left. [rad]"""
    _, _, left, dorsal = canal.frame_at(float(state.place[-1, 0]))
    director = state.directors[-1]
    return math.atan2(director @ left, director @ dorsal)


def level_at(canal, station):
    """Return the level of a station in words, and as a decimal that grows caudally."""
    spans = canal.level_spans
    for k, (level, bottom, top) in enumerate(spans):
        number_of_level = FIRST_OF_REGION[level[0]] + int(level[1:])
        if bottom <= station <= top:
            share = (station - bottom) / (top - bottom)
            return f"{level} {THIRDS[min(int(3.0 * share), 2)]}", number_of_level + float(
                min(1.0 - share, 0.99)
            )
        if k + 1 < len(spans) and top < station < spans[k + 1][1]:
            return f"{spans[k + 1][0]}-{level} disc", float(number_of_level)
    side = f"above {spans[-1][0]}" if station > spans[-1][2] else f"below {spans[0][0]}"
    return side, math.nan


def region_at(theta):
    """Return 'dorsal', 'lateral' or 'ventral' of an angle about the sac's centre."""
    if abs(theta) < number("lead", "reading.dorsal_limit"):
        return "dorsal"
    return "lateral" if abs(theta) < number("lead", "reading.ventral_limit") else "ventral"


def _contacts(state, canal):
    distances = np.concatenate(([0.0], contact_middles(state.properties)))
    distances = distances[distances < state.fed]
    points = points_from_tip(state.nodes, distances)
    u, theta, r = canal.to_chart(points)
    _, _, dura, _ = canal.radii(u, theta)
    left, dorsal = r * np.sin(theta), r * np.cos(theta)
    radius = state.properties.radius
    cord = _cord_clearance(canal, u, left, dorsal) - radius
    readings = []
    for k, point in enumerate(points):
        level, decimal = level_at(canal, u[k])
        readings.append(
            ContactReading(
                k,
                level,
                decimal,
                float(u[k]),
                float(dorsal[k]),
                float(left[k]),
                _anatomic_offset(canal, u[k], point),
                float(left[k] - canal.cord_shift),
                float(theta[k]),
                region_at(theta[k]),
                float(r[k] - dura[k] - radius),
                float(cord[k]),
            )
        )
    return readings


def _cord_clearance(canal, u, left, dorsal):
    """Return the first-order distance to the cord's ellipse, nan where the cord has ended."""
    width, depth, offset = (
        np.interp(u, canal.u, values)
        for values in (canal.cord_half_width, canal.cord_half_depth, canal.cord_offset)
    )
    present = (width > LEAST_CORD) & (depth > LEAST_CORD)
    width, depth = np.where(present, width, 1.0), np.where(present, depth, 1.0)
    x, y = left - canal.cord_shift, dorsal - offset
    q = np.hypot(x / width, y / depth)
    slope = np.maximum(np.hypot(x / width**2, y / depth**2), 1e-9)
    return np.where(present, q * (q - 1.0) / slope, math.nan)


def _anatomic_offset(canal, station, point):
    """Return how far a point lies to the left of the midplane of the nearest vertebra."""
    level, _, _ = min(canal.level_spans, key=lambda span: abs(station - 0.5 * (span[1] + span[2])))
    pose = canal.poses[level]
    return float((point - pose.translation) @ pose.rotation[:, 0])


def dents(state):
    """Return the deepest dent of the dura within 10 mm of the mouth, and beyond. [mm]"""
    near = state.distances[2:] <= number("lead", "reading.near_mouth")
    dents = np.maximum(state.depth[2:, 1], 0.0)
    return float(dents[near].max(initial=0.0)), float(dents[~near].max(initial=0.0))


def foramen_of(state, canal):
    """Return the Foramen in which the most distal such part of the lead lies, or None."""
    u, theta, r = state.place[2:].T
    _, closed, _, _ = canal.radii(u, theta)
    beyond = r - closed
    first, last = number("lead", "reading.foramen_from"), number("lead", "reading.foramen_to")
    beside = (np.abs(theta) > first) & (np.abs(theta) < last)
    out = np.nonzero((beyond > number("lead", "reading.foramen_depth")) & beside)[0]
    if len(out) == 0:
        return None
    most_distal = out[-1]
    return Foramen(
        "left" if theta[most_distal] > 0.0 else "right",
        level_at(canal, u[most_distal])[0],
        float(beyond[out].max()),
        bool(most_distal >= len(u) - TIP_NODES),
    )


def _warnings(near, elsewhere, foramen, converged):
    found = []
    if near > number("lead", "reading.dent_near_mouth"):
        found.append(f"the lead dents the dura by {near:.1f} mm near the needle's mouth")
    if elsewhere > number("lead", "reading.dent_elsewhere"):
        found.append(f"the lead dents the dura by {elsewhere:.1f} mm along its way")
    if foramen is not None:
        found.append(str(foramen))
    if not converged:
        found.append("the last step did not come to rest: do not trust its forces")
    return tuple(found)


def _wrapped(angle):
    return (angle + math.pi) % (2.0 * math.pi) - math.pi
