"""The way that a needle has cut, and how far its shaft can be turned in the tissue around it.

A track is a polyline (n, 3) from the skin to the end of the cut; a place on it is told by its length from
the skin. The shaft is a stiff rod in springs: pushed aside at the hub it turns about one point that stays
where it is, and tissue gives way only so far before it is cut.
"""

import math

import numpy as np

from meshes.compiled import kernel
from meshes.frames import unit
from meshes.tables.loader import number
from trainer.physics.tissue_layers import KEYS


def lengths_along(track):
    """Return the length (n,) from the skin to each knot of a track (n, 3). [mm]"""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(track, axis=0), axis=1))])


@kernel
def _place(track, depth):
    """Return point and direction of a place on a track as one tuple of 6."""
    legs, before = track.shape[0] - 1, 0.0
    for leg in range(legs):
        dx, dy, dz = (
            track[leg + 1, 0] - track[leg, 0],
            track[leg + 1, 1] - track[leg, 1],
            track[leg + 1, 2] - track[leg, 2],
        )
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        if depth < before + length - 1e-9 or leg == legs - 1:
            break
        before += length
    dx, dy, dz, t = dx / length, dy / length, dz / length, depth - before
    return track[leg, 0] + t * dx, track[leg, 1] + t * dy, track[leg, 2] + t * dz, dx, dy, dz


def place_on(track, depth):
    """Return the point (3,) at a depth along a track, and the direction (3,) there.

    At a knot along the leg that begins there; outside the track along its nearest leg.
    """
    place = np.array(_place(track, float(depth)))
    return place[:3], place[3:]


def shortened(track, depth):
    """Return the part of a track up to a depth, with a knot there."""
    kept = track[:-1][lengths_along(track)[:-1] < max(depth - 1e-6, 1e-9)]
    return np.vstack([kept, place_on(track, depth)[0]])


def distance_to_line(point, origin, direction):
    """Return how far a point lies from a line through `origin`. [mm]"""
    off = np.asarray(point) - origin
    return float(np.linalg.norm(off - (off @ direction) * direction))


def turned_toward(direction, wanted, angle):
    """Return `direction` turned by at most `angle` [rad] toward `wanted`."""
    cosine = min(1.0, max(-1.0, float(direction @ wanted)))
    whole = math.acos(cosine)
    if whole <= angle or whole < 1e-12:
        return wanted.copy()
    aside = unit(wanted - cosine * direction)
    return math.cos(angle) * direction + math.sin(angle) * aside


def embedded(starts, codes, depth):
    """Yield (code, from, to) of the tissues along a path down to a depth."""
    for k, (start, code) in enumerate(zip(starts, codes)):
        end = min(starts[k + 1] if k + 1 < len(starts) else depth, depth)
        if KEYS[code] is not None and end > max(start, 0.0):
            yield int(code), max(float(start), 0.0), float(end)


def resting_point(starts, codes, *, depth, outside):
    """Return the depth of the point that stays where it is while the hub is pushed aside. [mm]

    Integral of k s (s + h) over that of k (s + h), k the lateral stiffness of the tissue at depth s and h
    the length of shaft outside: two thirds of the depth in even tissue with the hub at the skin, half of it
    with the hub far outside.

    Parameters
    ----------
    starts, codes : (n,)
        Tissues along the shaft.
    depth, outside : float
        Of the tip, and of shaft outside the skin. [mm]
    """
    above, below = 0.0, 0.0
    for code, a, b in embedded(starts, codes, depth):
        stiffness = number("tissue", f"{KEYS[code]}.lateral_stiffness")
        above += stiffness * ((b**3 - a**3) / 3.0 + outside * (b * b - a * a) / 2.0)
        below += stiffness * ((b * b - a * a) / 2.0 + outside * (b - a))
    return above / below if below > 0.0 else 0.0


def largest_turn(starts, codes, *, depth, pivot):
    """Return the angle at which some tissue is pushed aside as far as it gives way. [rad]"""
    least = math.inf
    for code, a, b in embedded(starts, codes, depth):
        arm = max(abs(a - pivot), abs(b - pivot))
        least = min(least, number("tissue", f"{KEYS[code]}.lateral_limit") / max(arm, 1e-6))
    return least


def hub_force(starts, codes, *, depth, pivot, angle):
    """Return the force at the hub that holds a shaft turned by an angle [rad] in its tissue. [N]"""
    total = 0.0
    for code, a, b in embedded(starts, codes, depth):
        stiffness = number("tissue", f"{KEYS[code]}.lateral_stiffness")
        total += stiffness * ((b * b - a * a) / 2.0 - pivot * (b - a))
    return abs(total) * angle


def tip_deflection(force, *, rigidity, stiffness):
    """Return how far the end of a long rod in elastic ground moves under a force across it. [mm]

    Parameters
    ----------
    force : float
        [N]
    rigidity, stiffness : float
        EI [N mm²] and the ground's stiffness per length k [N/mm²]: y = 2 P b / k, b = (k / 4 EI)^(1/4).

    Source
    ------
    Hetenyi, Beams on Elastic Foundation, 1946, semi-infinite beam (from memory).
    """
    return 2.0 * force * (stiffness / (4.0 * rigidity)) ** 0.25 / stiffness
