"""What the needle in hand feels like and where it stands, in words and shares. No Qt here."""

from trainer.attempt.state import PRACTICE
from trainer.window.state_words import NEEDLE_NAMES, millimetres, sided


def resistance_of(state):
    """Return the resistance at the hand, 0 to 1."""
    needle = state.placement.track
    return 0.0 if needle is None else float(needle.gauge)


def syringe_of(state):
    """Return (how full, what the plunger does) after the last press."""
    return state.placement.syringe_share, state.placement.plunger


def needle_readings(state):
    """Return {name: text or (text, verdict)} of the needle phase; most of it in practice only."""
    hidden = dict.fromkeys(NEEDLE_NAMES, "–")
    check, depth = state.check, state.needle_depth
    if depth is None:
        return hidden
    if state.mode != PRACTICE:
        return {**hidden, "Along needle": millimetres(depth)}
    return {**hidden, "Along needle": millimetres(depth), "From midline": sided(check.lateral_offset)}
