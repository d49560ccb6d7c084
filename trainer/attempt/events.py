"""What a person can do in an attempt, as frozen values. Lengths in mm, angles in rad."""

import math
from dataclasses import asdict, dataclass, fields


@dataclass(frozen=True)
class PlanNeedle:
    """Choose interspace, skin entry, angles and needle.

    Parameters
    ----------
    interspace : str
    side : str
        The patient's side that the needle comes from, "left" or "right".
    entry_x, entry_z : float
        Skin entry in the patient's frame: leftward and cranial. [mm]
    approach : float
        Between the needle and the skin plane. [rad]
    medial : float
        Turn towards the midline from the side of the entry. [rad]
    needle_length : float
        [mm]
    """

    interspace: str
    side: str
    entry_x: float
    entry_z: float
    approach: float
    medial: float
    needle_length: float


@dataclass(frozen=True)
class TakePicture:
    """Take one X-ray picture with the beam's isocentre at a level.

    Parameters
    ----------
    orbit, tilt : float
        Of the C-arm; 0, 0 is the frontal view, orbit pi/2 a lateral one. [rad]
    centre : str
        Level or interspace at the isocentre.
    """

    orbit: float
    tilt: float
    centre: str


@dataclass(frozen=True)
class PlaceNeedle:
    """Put the tip of the planned needle through the skin at the planned entry."""


@dataclass(frozen=True)
class AdvanceNeedle:
    """Push the needle along its axis; negative pulls it back. [mm]"""

    millimetres: float


@dataclass(frozen=True)
class RemoveNeedle:
    """Take the needle out of the patient."""


@dataclass(frozen=True)
class PassLead:
    """Put the lead through the needle until its tip looks out of the mouth."""


@dataclass(frozen=True)
class AdvanceLead:
    """Feed the lead; negative withdraws it. [mm]"""

    millimetres: float


@dataclass(frozen=True)
class TurnLead:
    """Turn the hub of the stylet, counted like the turning hand sees it. [rad]"""

    angle: float


@dataclass(frozen=True)
class RemoveLead:
    """Pull the lead out through the needle."""


@dataclass(frozen=True)
class FinishAttempt:
    """Call the work done; what follows is the debriefing."""


EVENTS = (
    PlanNeedle,
    TakePicture,
    PlaceNeedle,
    AdvanceNeedle,
    RemoveNeedle,
    PassLead,
    AdvanceLead,
    TurnLead,
    RemoveLead,
    FinishAttempt,
)
_BY_NAME = {kind.__name__: kind for kind in EVENTS}


def to_record(event):
    """Return the event as a dict of plain values, `event` naming its kind."""
    return {"event": type(event).__name__, **asdict(event)}


def from_record(record):
    """Return the event of a dict that `to_record` made.

    Raises
    ------
    ValueError
        If the kind is unknown, or a value is missing, left over or of the wrong type.
    """
    name = record.get("event")
    kind = _BY_NAME.get(name) if isinstance(name, str) else None
    if kind is None:
        raise ValueError(
            f"event must be one of {', '.join(_BY_NAME)}, got {record.get('event')!r}: "
            "use a record written by this program"
        )
    wanted = {field.name: field.type for field in fields(kind)}
    given = {name: value for name, value in record.items() if name != "event"}
    if given.keys() != wanted.keys():
        raise ValueError(
            f"{kind.__name__} must have the values {', '.join(wanted) or 'none'}, "
            f"got {', '.join(given) or 'none'}: use a record written by this program"
        )
    return kind(**{name: _checked(name, value, wanted[name]) for name, value in given.items()})


def _checked(name, value, kind):
    if (
        kind is float
        and isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
    ):
        return float(value)
    if kind is str and isinstance(value, str):
        return value
    expected = "a finite number" if kind is float else "text"
    raise ValueError(f"{name} must be {expected}, got {value!r}: use a record written by this program")
