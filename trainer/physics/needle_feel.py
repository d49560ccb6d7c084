"""What a hand feels of a needle, in words and in numbers that a window can show or sound."""

import math
from dataclasses import dataclass

from meshes.tables.loader import number

SOFT, FIRM, TOUGH, BONE = RESISTANCES = ("soft", "firm", "tough", "bone")
LOOSE, STEADY, BRACED = GRIPS = ("loose", "steady", "braced")
# Our own sound: two octaves from the softest to the hardest tissue.
LOWEST_TONE, OCTAVES, QUIETEST = 220.0, 2.0, 0.15


@dataclass(frozen=True)
class Tone:
    """A tone that stands for a force: frequency [1/s] and level, 0 to 1."""

    frequency: float
    level: float


def check_grip(grip):
    """Return `grip`, or raise ValueError unless it is one of GRIPS."""
    if grip not in GRIPS:
        raise ValueError(f"grip must be one of {', '.join(GRIPS)}, got {grip!r}: say how the hand holds")
    return grip


def hand_stiffness(grip):
    """Return the stiffness of a hand along the needle. [N/mm]

    "loose" is one hand with a free arm, "steady" one with a resting wrist, "braced" both hands with the
    knuckles on the back. All three are assumed.
    """
    return number("tissue", f"hand.{check_grip(grip)}")


def resistance_word(tip_force, *, on_bone):
    """Return "soft", "firm", "tough" or "bone" for a force at the tip. [N]"""
    if on_bone:
        return BONE
    if tip_force < number("tissue", "word.soft"):
        return SOFT
    return FIRM if tip_force < number("tissue", "word.tough") else TOUGH


def gauge_value(force):
    """Return a force on the hand as a share of the gauge's full scale, 0 to 1."""
    return min(abs(force) / number("tissue", "gauge.full"), 1.0)


def tone_of(force):
    """Return the Tone of a force on the hand. [N]"""
    share = gauge_value(force)
    return Tone(LOWEST_TONE * 2.0 ** (OCTAVES * share), QUIETEST + (1.0 - QUIETEST) * share)


def plunge_at_give(before, after, *, stiffness):
    """Return how far a tip jumps when what it pressed on gives way. [mm]

    Closed form: the hand's spring lengthens until it balances what is left.

    Parameters
    ----------
    before, after : float
        Force on the hand just before the give, and of what is left behind it. [N]
    stiffness : float
        Of the hand. [N/mm]
    """
    return (before - after) / stiffness


def rate_factor(speed):
    """Return by how much faster advancing raises the forces; 1 at the table's reference speed. [mm/s]

    1 + c ln((1 + v) / (1 + v0)): only the direction is published (Naemura et al. 2009: a higher peak in the
    ligamentum flavum at 2 than at 0.4 mm/s).

    Raises
    ------
    ValueError
        If `speed` is not a speed of a hand.
    """
    if not 0.0 < speed <= 100.0:
        raise ValueError(f"speed must lie between 0 and 100 mm/s, got {speed:g}: 0.5 to 2 is usual")
    reference = number("tissue", "rate.reference")
    return 1.0 + number("tissue", "rate.gain") * math.log((1.0 + speed) / (1.0 + reference))
