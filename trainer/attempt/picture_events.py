"""Events of the C-arm: how it stands, what it shows, and the levels counted on the picture."""

from dataclasses import dataclass

COUNTED_FROM = ("sacrum", "ribs")


@dataclass(frozen=True)
class SetCArm:
    """Bring the C-arm to a pose.

    Parameters
    ----------
    orbit, tilt : float
        0, 0 is the frontal view, orbit pi/2 a lateral one. [rad]
    centre : str
        Level or interspace at the isocentre.
    along, across, height : float
        Travel of the C from there, towards the head, towards the patient's left and up. [mm]
    swivel : float
        [rad]
    field : str
        Magnification: the part of the detector that is read, "full", "middle" or "small".
    iris, across_open, along_open : float
        How far the iris and the shutters beside and above are open, as shares of the picture's half width.
    """

    orbit: float
    tilt: float
    centre: str
    along: float = 0.0
    across: float = 0.0
    height: float = 0.0
    swivel: float = 0.0
    field: str = "full"
    iris: float = 1.0
    across_open: float = 1.0
    along_open: float = 1.0


@dataclass(frozen=True)
class TakePicture:
    """Take one picture as the C-arm stands."""


@dataclass(frozen=True)
class StartLive:
    """Switch the live picture on."""


@dataclass(frozen=True)
class StopLive:
    """Switch the live picture off; `seconds` tells how long the beam was on. [s]"""

    seconds: float


@dataclass(frozen=True)
class MarkLevel:
    """Mark a vertebra on the held picture by its name.

    Parameters
    ----------
    level : str
        What the trainee takes it for.
    column, row : float
        Share of the picture's width from its left edge, and of its height from the top.
    counted_from : str
        "sacrum" (upwards) or "ribs" (from the lowest rib).
    """

    level: str
    column: float
    row: float
    counted_from: str


@dataclass(frozen=True)
class StorePose:
    """Keep the present pose of the C-arm under a name."""

    name: str


@dataclass(frozen=True)
class RecallPose:
    """Bring the C-arm back to a stored pose."""

    name: str
