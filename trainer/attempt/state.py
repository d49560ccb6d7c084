"""Where an attempt stands: one frozen value, and a digest that tells any two of them apart."""

import hashlib
import struct
from dataclasses import dataclass, field, fields, is_dataclass

import numpy as np

PHASES = ("plan", "picture", "needle", "lead", "debrief")


@dataclass(frozen=True, eq=False)
class AttemptState:
    """Where an attempt stands. Two states are compared by `digest`.

    Parameters
    ----------
    scenario : scenarios.scenario.Scenario
    seed : int
        Of everything drawn at random in this attempt.
    anatomy : meshes.anatomy.Anatomy
        Follows from the scenario; held by reference and left out of the digest.
    phase : str
        One of `PHASES`.
    event_count : int
        How many events led here.
    pictures : tuple of TakePicture
        In the order in which they were taken.
    aim, needle, check
        The planned NeedleAim, the chosen Needle and the NeedleCheck that follows from both, or None.
    needle_depth : float or None
        Of the tip along the axis from the skin; None while the needle is outside. [mm]
    touched_bone : str or None
        The bone at which the needle was stopped last, like "the lamina of L1".
    dural_punctures, needle_passes, lead_passes : int
        Counted over the whole attempt.
    lead : trainer.physics.lead.LeadState or None
        None while the lead is outside.
    largest_push, largest_dent : float
        Of the lead over the whole attempt. [N], [mm]
    """

    scenario: object
    seed: int
    anatomy: object = field(repr=False, metadata={"derived": True})
    phase: str = "plan"
    event_count: int = 0
    pictures: tuple = ()
    aim: object = None
    needle: object = None
    check: object = field(default=None, repr=False, metadata={"derived": True})
    needle_depth: float | None = None
    touched_bone: str | None = None
    dural_punctures: int = 0
    needle_passes: int = 0
    lead_passes: int = 0
    lead: object = field(default=None, repr=False)
    largest_push: float = 0.0
    largest_dent: float = 0.0


# What of a lead is its own; the rest of LeadState follows from it or belongs to the anatomy.
LEAD_FACTS = ("shaft", "hub", "fed", "spin", "drag_slip", "push", "depth", "converged")


def digest(state):
    """Return 24 hex digits that change when any bit of the state's own values does."""
    collected = hashlib.sha256()
    for entry in fields(state):
        if entry.metadata.get("derived"):
            continue
        value = getattr(state, entry.name)
        collected.update(entry.name.encode())
        if entry.name == "lead" and value is not None:
            value = tuple(getattr(value, name) for name in LEAD_FACTS)
        _feed(collected, value)
    return collected.hexdigest()[:24]


def _feed(collected, value):
    """Feed a value into a hash so that different values give different bytes."""
    if value is None or isinstance(value, bool | int | str | np.bool_ | np.integer):
        collected.update(f"{type(value).__name__[:4]}:{value};".encode())
    elif isinstance(value, float | np.floating):
        collected.update(b"float:" + struct.pack("<d", value))
    elif isinstance(value, np.ndarray):
        collected.update(f"array:{value.dtype.str}{value.shape};".encode())
        collected.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, tuple | list):
        collected.update(f"list:{len(value)};".encode())
        for item in value:
            _feed(collected, item)
    elif is_dataclass(value):
        _feed(collected, [type(value).__name__, *(getattr(value, f.name) for f in fields(value))])
    elif hasattr(value, "content"):
        _feed(collected, repr(value.content()))
    else:
        raise TypeError(f"value must be plain data, got {type(value).__name__}: mark its field as derived")
