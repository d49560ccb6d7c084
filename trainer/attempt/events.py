"""What a person can do in an attempt, as frozen values, and each as a record of plain values.

Lengths in mm, angles in rad, volumes in ml, times in s. The events themselves stand in plan_events,
picture_events, needle_events and lead_events; this module gathers them.
"""

import math
from dataclasses import asdict, dataclass, fields

from trainer.attempt.lead_events import (
    AdvanceLead,
    ChangeStylet,
    ChooseLead,
    InjectSaline,
    PassLead,
    PullNeedle,
    PullStylet,
    RemoveLead,
    TakeUpLead,
    TakeUpNeedle,
    TurnLead,
)
from trainer.attempt.needle_events import (
    AimNeedle,
    AskPatient,
    ChooseAfterComplication,
    GiveLocalAnaesthetic,
    MoveNeedleStylet,
    PlaceNeedle,
    PressSyringe,
    PushNeedle,
    PushUnderPressure,
    ReangleNeedle,
    RemoveNeedle,
    SetSedation,
    TurnBevel,
    WithdrawNeedle,
)
from trainer.attempt.picture_events import (
    MarkLevel,
    RecallPose,
    SetCArm,
    StartLive,
    StopLive,
    StorePose,
    TakePicture,
)
from trainer.attempt.plan_events import (
    BeginSecuring,
    BeginTest,
    CommitPlan,
    DeferCase,
    FinishAttempt,
    ReadItem,
    RefuseCase,
)


@dataclass(frozen=True)
class Undo:
    """Take the last event back; in practice only, and never part of the rules: see attempt.Attempt.undo."""


PLAN_EVENTS = (ReadItem, DeferCase, RefuseCase, CommitPlan)
PICTURE_EVENTS = (SetCArm, TakePicture, StartLive, StopLive, MarkLevel, StorePose, RecallPose)
NEEDLE_EVENTS = (
    AimNeedle,
    PlaceNeedle,
    PushNeedle,
    WithdrawNeedle,
    ReangleNeedle,
    TurnBevel,
    MoveNeedleStylet,
    PressSyringe,
    PushUnderPressure,
    RemoveNeedle,
)
PATIENT_EVENTS = (GiveLocalAnaesthetic, SetSedation, AskPatient, ChooseAfterComplication)
LEAD_EVENTS = (
    ChooseLead,
    PassLead,
    AdvanceLead,
    TurnLead,
    ChangeStylet,
    InjectSaline,
    RemoveLead,
    TakeUpNeedle,
    TakeUpLead,
    PullStylet,
    PullNeedle,
)
TURNING_POINTS = (BeginTest, BeginSecuring, FinishAttempt)
EVENTS = (*PLAN_EVENTS, *PICTURE_EVENTS, *NEEDLE_EVENTS, *PATIENT_EVENTS, *LEAD_EVENTS, *TURNING_POINTS)
_BY_NAME = {kind.__name__: kind for kind in (*EVENTS, Undo)}
_WORDS = {float: "a finite number", str: "text", bool: "true or false"}


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


def checked(event):
    """Return an event whose numbers are finite and whose values have their own type.

    Raises
    ------
    ValueError
        If a value is of the wrong type or not finite.
    """
    return type(event)(**{f.name: _checked(f.name, getattr(event, f.name), f.type) for f in fields(event)})


def _checked(name, value, kind):
    number = isinstance(value, int | float) and not isinstance(value, bool)
    # A whole number of a thousand digits is no float.
    if kind is float and number and abs(value) < 1e9 and math.isfinite(value):
        return float(value)
    if kind is not float and isinstance(value, kind):
        return value
    raise ValueError(
        f"{name} must be {_WORDS[kind]}, got {value!r:.60}: use a record written by this program"
    )
