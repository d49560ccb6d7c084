"""What a patient says and does when a needle hurts, by local anaesthesia and sedation.

All figures are assumed.
"""

from dataclasses import dataclass, replace

from meshes.tables.loader import number

NO_LOCAL, SKIN_LOCAL, DEEP_LOCAL = LOCALS = ("none", "skin", "deep")
AWAKE, LIGHT, DEEP = SEDATIONS = ("awake", "light", "deep")
CAUSES = ("skin", "fascia", "bone", "bone_hard", "root", "dura", "cord")
_WORDS = {
    "skin": "That stings.",
    "fascia": "I feel a sharp pressure.",
    "bone": "That is sore, deep inside.",
    "bone_hard": "Ow! That really hurts, right on the bone.",
    "dura": "Something gave a strange twinge.",
    "cord": "Ah! A shock through my whole body.",
}


@dataclass(frozen=True)
class Patient:
    """Who lies there, as far as pain goes.

    Parameters
    ----------
    local : str
        Local anaesthetic: "none", "skin" or "deep" (skin and the way to the lamina).
    sedation : str
        "awake", "light" or "deep".

    Raises
    ------
    ValueError
        If either is another word.
    """

    local: str = SKIN_LOCAL
    sedation: str = AWAKE

    def __post_init__(self):
        for name, allowed in (("local", LOCALS), ("sedation", SEDATIONS)):
            if getattr(self, name) not in allowed:
                raise ValueError(
                    f"{name} must be one of {', '.join(allowed)}, got {getattr(self, name)!r}: "
                    "choose one of these"
                )

    def with_changes(self, **changes):
        """Return a copy with another anaesthesia or sedation."""
        return replace(self, **changes)


@dataclass(frozen=True)
class Reaction:
    """What a patient shows.

    Parameters
    ----------
    cause : str
    pain : float
        Felt, 0 to 10.
    words : str or None
        What the patient says; nothing under deep sedation, however great the danger.
    movement : float
        How far the back jerks; it is told, not applied to needle or bones. [mm]
    """

    cause: str
    pain: float
    words: str | None
    movement: float


def _left_over(cause, local):
    if cause == "skin" and local != NO_LOCAL:
        return number("reaction", "anaesthesia.skin")
    if cause in ("fascia", "bone", "bone_hard") and local == DEEP_LOCAL:
        return number("reaction", "anaesthesia.deep")
    return 1.0


def react(cause, patient, *, place=None):
    """Return the Reaction of a patient.

    Parameters
    ----------
    cause : str
        One of `CAUSES`.
    patient : Patient
    place : str or None
        Words for the nerve that is touched, like "the left L1 root".

    Raises
    ------
    ValueError
        If the cause is unknown.
    """
    if cause not in CAUSES:
        raise ValueError(f"cause must be one of {', '.join(CAUSES)}, got {cause!r}: choose one of these")
    pain = number("reaction", f"pain.{cause}") * _left_over(cause, patient.local)
    shown = pain if patient.sedation == AWAKE else pain * number("reaction", f"sedation.{patient.sedation}")
    speaks = patient.sedation != DEEP and shown >= number("reaction", "speaks")
    movement = number("reaction", "movement") * max(shown - number("reaction", "moves"), 0.0)
    return Reaction(cause, pain, _spoken(cause, place) if speaks else None, movement)


def _spoken(cause, place):
    if cause != "root":
        return _WORDS[cause]
    side = "left" if place and "left" in place else "right" if place and "right" in place else "one"
    where = "leg" if place and " L" in place else "flank"
    return f"An electric pain shoots into my {side} {where}!"
