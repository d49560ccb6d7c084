"""Events of the needle, its syringe, and the patient under it. Lengths in mm, angles in rad."""

from dataclasses import dataclass

MEDIA = ("saline", "air")
SEDATIONS = ("awake", "light", "deep")
# What can be done after a complication.
CHOICES = ("stop", "another level", "same level", "go on")


@dataclass(frozen=True)
class AimNeedle:
    """Hold the needle of the plan to the skin.

    Parameters
    ----------
    interspace, side : str
        Where it shall enter the canal, and the patient's side that it comes from.
    entry_x, entry_z : float
        Skin entry in the patient's frame: leftward and cranial. [mm]
    approach : float
        Between the needle and the skin plane. [rad]
    medial : float
        Turn towards the midline from the side of the entry. [rad]
    needle_length : float
        One that lies on the table. [mm]
    """

    interspace: str
    side: str
    entry_x: float
    entry_z: float
    approach: float
    medial: float
    needle_length: float


@dataclass(frozen=True)
class PlaceNeedle:
    """Put the tip of the held needle through the skin."""


@dataclass(frozen=True)
class PushNeedle:
    """Push the needle along its axis by up to 20 mm; `braced` against the back it plunges less at a give."""

    millimetres: float
    braced: bool = True


@dataclass(frozen=True)
class WithdrawNeedle:
    """Pull the needle back along its axis. [mm]"""

    millimetres: float


@dataclass(frozen=True)
class ReangleNeedle:
    """Take the needle in the skin to another approach and medial angle; deep in tissue it follows little."""

    approach: float
    medial: float


@dataclass(frozen=True)
class TurnBevel:
    """Turn the needle's opening about its axis, positive clockwise for the hand; 0 faces the head. [rad]"""

    angle: float


@dataclass(frozen=True)
class MoveNeedleStylet:
    """Put the needle's stylet in, or take it out."""

    inside: bool


@dataclass(frozen=True)
class PressSyringe:
    """Try the resistance at the tip: press a syringe of saline or air. `millilitres` is what may go in."""

    medium: str
    millilitres: float


@dataclass(frozen=True)
class GiveLocalAnaesthetic:
    """Numb skin and track. [ml]"""

    millilitres: float


@dataclass(frozen=True)
class SetSedation:
    """Tell how deep the patient shall be sedated: "awake", "light" or "deep"."""

    sedation: str


@dataclass(frozen=True)
class AskPatient:
    """Ask the patient what is felt."""


@dataclass(frozen=True)
class RemoveNeedle:
    """Take the needle out of the patient."""


@dataclass(frozen=True)
class ChooseAfterComplication:
    """Say what is done about the last complication; one of `CHOICES`."""

    choice: str
