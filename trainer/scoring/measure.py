"""What a measure is, and the register of all of them."""

from dataclasses import dataclass

from meshes.tables.loader import STATUSES


class NotAsked:
    """What a measure answers where the case does not ask for it: the second lead of a case with one."""

    def __repr__(self):
        return "not asked"


NOT_ASKED = NotAsked()


@dataclass(frozen=True)
class Measure:
    """A figure taken from a log.

    Parameters
    ----------
    name, title : str
    unit : str
        "" for a count, a share or yes and no.
    status, source : str
        Where the definition comes from; status as in the tables.
    take : callable
        `take(log)` -> float, bool, None where it could not be measured, or NOT_ASKED.
    """

    name: str
    title: str
    unit: str
    status: str
    source: str
    take: object


MEASURES = {}


def measure(title, *, unit="", status="common practice", source="practice of percutaneous lead placement"):
    """Register a function of a log as the measure of its own name."""
    if status not in STATUSES:
        raise ValueError(f"status must be one of {', '.join(STATUSES)}, got {status!r}: correct it")

    def register(take):
        MEASURES[take.__name__] = Measure(take.__name__, title, unit, status, source, take)
        return take

    return register
