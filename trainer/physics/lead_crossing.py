"""Where two leads cross, how far apart they lie, and how they are staggered.

In the frontal view a lead is to the left or to the right of the other; along the canal the side may change
between contacts where no tip and no contact tells. So sides are compared at every millimetre.

Valid for leads that run up the canal; of a loop only the part that lies furthest on is seen.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from meshes.instruments import contact_middles
from meshes.swept import points_from_tip
from trainer.physics.readings import level_at

STEP = 0.5  # along the canal [mm]
# Nearer than this to each other in the frontal view the leads lie over each other: no side is told. [mm]
NO_SIDE = 0.3


@dataclass(frozen=True)
class Crossing:
    """Where the second lead goes over to the other side of the first.

    Parameters
    ----------
    station : float
        [mm]
    level : str
    towards : str
        The side, 'left' or 'right', on which the second lead lies above the crossing.
    contacts : tuple of str
        Where it lies on each lead: 'at contact 3', 'between contacts 3 and 4', 'above contact 1',
        'below contact 8'.
    gap : float
        Room between the two there. [mm]
    """

    station: float
    level: str
    towards: str
    contacts: tuple
    gap: float

    def __str__(self):
        first, second = self.contacts
        return (
            f"the leads cross at {self.level}, {first} of the first lead and {second} of the second; "
            f"above it the second lies on the {self.towards}"
        )


@dataclass(frozen=True)
class PairReading:
    """How two leads lie to each other.

    Parameters
    ----------
    crossings : tuple of Crossing
        From the needles upwards.
    separation : tuple of float
        Least, mean and largest distance between the two in the frontal view beside the contacts of the second
        lead. [mm]
    least_gap : float
        Least room between their surfaces. [mm]
    staggering : float
        How much further up the first lead's tip lies, in lengths of a contact.
    """

    crossings: tuple
    separation: tuple
    least_gap: float
    staggering: float


def read_pair(pair, anatomy_or_canal):
    """Return the PairReading of two leads.

    Parameters
    ----------
    pair : trainer.physics.lead_pair.LeadPair, or two LeadState
    anatomy_or_canal : meshes.anatomy.Anatomy or meshes.canal.CanalChart
    """
    canal = getattr(anatomy_or_canal, "canal", anatomy_or_canal)
    first, second = getattr(pair, "leads", pair)
    ways = [_way(lead, canal) for lead in (first, second)]
    contacts = _contact_stations(second, canal)
    beside = contacts[(contacts >= ways[0][0][0]) & (contacts <= ways[0][0][-1])]
    apart = np.abs(np.interp(beside, *ways[1][:2]) - np.interp(beside, *ways[0][:2]))
    tips = [float(way[0][-1]) for way in ways]
    return PairReading(
        crossings((first, second), canal),
        (float(apart.min()), float(apart.mean()), float(apart.max())) if len(apart) else (math.nan,) * 3,
        float(_gaps(ways, first, second)[1].min(initial=math.inf)),
        (tips[0] - tips[1]) / second.properties.contact_length,
    )


def crossings(pair, anatomy_or_canal):
    """Return the tuple of Crossings of two leads, from the needles upwards; arguments as `read_pair`."""
    canal = getattr(anatomy_or_canal, "canal", anatomy_or_canal)
    first, second = getattr(pair, "leads", pair)
    ways = [_way(lead, canal) for lead in (first, second)]
    u, gaps, difference = _compared(ways, first, second)
    told = np.nonzero(np.abs(difference) > NO_SIDE)[0]
    found = []
    for here, there in itertools.pairwise(told):
        if difference[here] * difference[there] < 0.0:
            between = slice(here, there + 1)
            k = here + int(np.abs(difference[between]).argmin())
            found.append(_crossing(canal, u[k], difference[there], gaps[k], (first, second)))
    return tuple(found)


def _crossing(canal, station, side, gap, leads):
    where = tuple(_beside_contacts(lead, canal, station) for lead in leads)
    towards = "left" if side > 0.0 else "right"
    return Crossing(float(station), level_at(canal, station)[0], towards, where, float(gap))


def _way(lead, canal):
    """Return station, offset to the left and height (each (n,)) of a lead, stations rising."""
    u, theta, r = canal.to_chart(lead.nodes[1:])
    rising = np.concatenate(([True], u[1:] > np.maximum.accumulate(u)[:-1]))
    return u[rising], (r * np.sin(theta))[rising], (r * np.cos(theta))[rising]


def _compared(ways, first, second):
    low, high = max(way[0][0] for way in ways), min(way[0][-1] for way in ways)
    u = np.arange(low, high, STEP)
    (x0, y0), (x1, y1) = (tuple(np.interp(u, way[0], way[k]) for k in (1, 2)) for way in ways)
    room = np.hypot(x1 - x0, y1 - y0) - first.properties.radius - second.properties.radius
    return u, room, x1 - x0


def _gaps(ways, first, second):
    return _compared(ways, first, second)[:2]


def _contact_stations(lead, canal):
    distances = contact_middles(lead.properties)
    points = points_from_tip(lead.nodes, distances[distances < lead.fed])
    return np.asarray(canal.to_chart(points)[0]) if len(points) else np.zeros(0)


def _beside_contacts(lead, canal, station):
    """Return in words where a station lies among a lead's contacts."""
    stations = _contact_stations(lead, canal)
    half = 0.5 * lead.properties.contact_length
    for k, middle in enumerate(stations, start=1):
        if abs(station - middle) <= half:
            return f"at contact {k}"
        if station > middle:
            return f"between contacts {k - 1} and {k}" if k > 1 else "above contact 1"
    return f"below contact {len(stations)}" if len(stations) else "beside no contact"
