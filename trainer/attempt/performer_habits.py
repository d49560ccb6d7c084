"""How the performers work: an expert hand, and four weaker ones with one named fault each.

All numbers are assumed: tuned on invented cases, not measured on people.
"""

from dataclasses import dataclass

from meshes.units import radians


@dataclass(frozen=True)
class Habits:
    """How a performer works.

    Parameters
    ----------
    heeds_card : bool
        Whether a case that should be put off is put off.
    counts_ribs : bool
        Whether levels are counted from the lowest rib too, and not from the sacrum alone.
    level_error : int
        How many levels too low everything is taken to be.
    approach : float or None
        A steep hand's own approach; None plans the most forgiving one. [rad]
    needle_offset : float or None
        Of the needle's tip from the midline as aimed at; None plans the most forgiving one. [mm]
    lead_offset : float
        Of the lead's path, further from the midline than the case asks for. [mm]
    looks_sideways : bool
        Whether depth is looked at in a lateral or oblique picture, and the lead from the side in the end.
    grip : str
        "loose", "steady" or "braced".
    needle_step, feed : float
        Of one push near the flavum, and of the lead between two looks. [mm]
    checks_resistance : bool
        Whether the syringe is tried between two pushes.
    overshoot : float
        How much deeper than needed the needle is left, short of the dura. [mm]
    patience : float
        How many looks without progress pass before the lead is withdrawn.
    reading_error : float
        Standard deviation of an offset read off a picture. [mm]
    look_ahead : float
        How far ahead the present heading is followed. [mm]
    gain : float
        Clock of the bend for each millimetre off the path ahead. [rad/mm]
    tolerance, wait : float
        Off the path ahead that is left alone, and travel between two corrections. [mm]
    clock_tolerance : float
        Of the hub; smaller differences are not worth a turn. [rad]
    lateral_offset, lateral_angle : float
        Beyond either the lead has left the dorsal space. [mm], [rad]
    reach, reach_share : float
        How far past the epidural entry the needle goes, but never beyond this share of the way to the dura.
        [mm]
    spare_needle : float
        Shaft that is left outside the skin. [mm]
    turn_step : float
        Of one turn of the hub. [rad]
    most_withdrawals, most_needles, longest_feed
        After which a needle, the task, or steering from one needle [mm of travel] is given up.
    """

    heeds_card: bool = True
    counts_ribs: bool = True
    level_error: int = 0
    approach: float | None = None
    needle_offset: float | None = None
    lead_offset: float = 0.0
    looks_sideways: bool = True
    grip: str = "braced"
    needle_step: float = 1.0
    feed: float = 1.0
    checks_resistance: bool = True
    overshoot: float = 0.0
    patience: float = 4
    reading_error: float = 0.3
    look_ahead: float = 9.0
    gain: float = radians(18.0)
    tolerance: float = 1.5
    wait: float = 8.0
    clock_tolerance: float = radians(30.0)
    lateral_offset: float = 6.5
    lateral_angle: float = radians(58.0)
    reach: float = 2.0
    reach_share: float = 0.4
    spare_needle: float = 10.0
    turn_step: float = radians(45.0)
    most_withdrawals: int = 6
    most_needles: int = 3
    longest_feed: float = 900.0


def _weak(**fault):
    return Habits(heeds_card=False, **fault)


PERFORMERS = {
    "expert": Habits(),
    "steep": _weak(approach=radians(60.0)),
    "off-midline": _weak(needle_offset=5.0, lead_offset=3.5),
    "no-lateral": _weak(looks_sideways=False),
    "impatient": _weak(
        grip="loose", needle_step=4.0, checks_resistance=False, overshoot=3.0, feed=4.0, patience=12
    ),
    "lost-level": _weak(counts_ribs=False, level_error=1),
}
FAULTS = {
    "steep": "holds the needle at about 60 degrees",
    "off-midline": "lands the needle and lays the lead well off the midline",
    "no-lateral": "never looks from the side",
    "impatient": "pushes far between two checks, unbraced, and forces the lead",
    "lost-level": "counts from the sacrum only, one level too low",
}


def habits_of(name):
    """Return the Habits of a performer's name; raises ValueError for an unknown one."""
    if name not in PERFORMERS:
        raise ValueError(
            f"performer must be one of {', '.join(PERFORMERS)}, got {name!r}: choose one of these"
        )
    return PERFORMERS[name]
