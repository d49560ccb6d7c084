"""Measures of two leads beside each other: separation, stagger, crossings."""

import math
from functools import lru_cache

from trainer.physics.lead_crossing import read_pair
from trainer.scoring.measure import NOT_ASKED, measure


@lru_cache(maxsize=64)
def _reading(first, second, anatomy):
    return read_pair((first, second), anatomy)


def pair_reading(log):
    """Return the PairReading of the two leads that lie in the end."""
    first, second = (one.lead for one in log.with_lead)
    return _reading(first, second, log.anatomy)


def _of_two(log, take):
    if log.task.leads < 2:
        return NOT_ASKED
    return None if len(log.with_lead) < 2 else take(pair_reading(log))


@measure("Distance between the leads at the contacts, mean", unit="mm")
def separation(log):
    """Take it in the frontal view beside the contacts of the second lead; None where none lies beside."""
    mean = _of_two(log, lambda pair: pair.separation[1])
    return None if isinstance(mean, float) and math.isnan(mean) else mean


@measure("One tip above the other", unit="mm")
def stagger(log):
    contact = log.with_lead[-1].lead.properties.contact_length if log.with_lead else 0.0
    return _of_two(log, lambda pair: abs(pair.staggering) * contact)


@measure("Crossings of the two leads")
def crossings(log):
    """Count along the whole length: between the contacts too, where no tip tells."""
    return _of_two(log, lambda pair: float(len(pair.crossings)))
