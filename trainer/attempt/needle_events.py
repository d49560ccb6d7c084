"""Events of the needle, its syringe, and the patient under it. Lengths in mm, angles in rad."""

from dataclasses import dataclass

MEDIA = ("saline", "air")
SEDATIONS = ("awake", "light", "deep")


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
    """Push the needle along its axis; the tip follows as the tissue lets it.

    Parameters
    ----------
    millimetres : float
        Of the hand.
    grip : str
        "loose", "steady" or "braced": the firmer, the less the tip plunges where tissue gives way.
    """

    millimetres: float
    grip: str = "steady"


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
    """Try the resistance at the tip.

    Parameters
    ----------
    medium : str
        In the syringe: "saline" or "air".
    force : float
        Of the thumb; 8 to 12 is usual. [N]
    seconds : float
    """

    medium: str
    force: float
    seconds: float


@dataclass(frozen=True)
class PushUnderPressure:
    """Push the needle with the thumb on the plunger all the while; the hand stops where resistance gives.

    Parameters
    ----------
    millimetres : float
        Of the hand, at most.
    medium : str
        In the syringe: "saline" or "air".
    force : float
        Of the thumb. [N]
    grip : str
        As in PushNeedle.
    """

    millimetres: float
    medium: str
    force: float
    grip: str = "steady"


@dataclass(frozen=True)
class GiveLocalAnaesthetic:
    """Numb the "skin", or with more of it the "deep" way to the lamina. [ml]"""

    millilitres: float
    where: str = "skin"


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
    """Say what is done about the last complication; one of the keys that it offers."""

    choice: str
