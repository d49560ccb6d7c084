"""Measures of two leads beside each other: separation, stagger, crossings."""

import numpy as np

from trainer.scoring.measure import NOT_ASKED, measure
from trainer.scoring.measures_lead import readings

STEP = 1.0  # along the canal between two comparisons [mm]
TOUCHING = 0.2  # apart to the side, less is on top of each other [mm]


def _pair(log):
    """Return (u, offsets) of both leads, or None where two do not lie."""
    if len(log.with_lead) < 2:
        return None
    courses = []
    for one in log.with_lead:
        place = one.lead.place[1:]
        order = np.argsort(place[:, 0], kind="stable")
        u, theta, radius = place[order].T
        courses.append((u, radius * np.sin(theta)))
    return courses


def _together(log):
    """Return how far the first lead lies to the left of the second (n,) where both lie. [mm]"""
    pair = _pair(log)
    if pair is None:
        return None
    low, high = max(c[0][0] for c in pair), min(c[0][-1] for c in pair)
    if high - low < STEP:
        return np.empty(0)
    u = np.arange(low, high, STEP)
    (first, x), (second, y) = pair
    return np.interp(u, first, x) - np.interp(u, second, y)


def _of_two(log, take):
    if log.task.leads < 2:
        return NOT_ASKED
    return None if len(log.with_lead) < 2 else take(log)


@measure("Distance between the leads at the contacts, mean", unit="mm")
def separation(log):
    def take(log):
        (_, first), (_, second) = readings(log)
        gaps = [abs(a.axis_offset - b.axis_offset) for a, b in zip(first.contacts, second.contacts)]
        return float(np.mean(gaps)) if gaps else None

    return _of_two(log, take)


@measure("One tip above the other", unit="mm")
def stagger(log):
    def take(log):
        (_, first), (_, second) = readings(log)
        return abs(float(first.tip.station - second.tip.station))

    return _of_two(log, take)


@measure("Crossings of the two leads")
def crossings(log):
    def take(log):
        apart = _together(log)
        sides = np.sign(apart[np.abs(apart) > TOUCHING])
        return float(np.count_nonzero(np.diff(sides)))

    return _of_two(log, take)
