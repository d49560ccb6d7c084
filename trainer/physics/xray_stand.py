"""How the C-arm is moved in the room: its motions, their limits, its named views and stored places."""

from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from types import MappingProxyType

import numpy as np

from meshes.tables.loader import number, table
from meshes.units import degrees, radians
from trainer.physics.xray_carm import CArm

# Motion -> why it ends there and what to do instead.
MOTIONS = {
    "orbit": "the C meets the table: swing it round from the other side",
    "tilt": "the tube meets the table: tilt less, or turn the C",
    "swivel": "the base meets the table: turn the C less and travel instead",
    "along": "the base meets the column of the table: shift the patient",
    "across": "the arm is at its end: shift the patient",
    "height": "the column of the C-arm is at its end: raise or lower the table",
    "source_to_detector": "the detector is at its end: raise or lower the C",
}
ANGLES = ("orbit", "tilt", "swivel")
FIELDS = ("full", "middle", "small")
VIEWS = ("AP", "lateral", "oblique left", "oblique right", "caudal tilt")


@dataclass(frozen=True)
class Stand:
    """Where a C-arm stands in the room, within the limits of its motions.

    Parameters
    ----------
    home : (3,) float
        The patient's point in the isocentre when the C-arm has not travelled. [mm]
    along, across, height : float
        Travel of the C: toward the head, toward the patient's left, up from the floor. [mm]
    orbit, tilt, swivel : float
        As in `xray_carm`. [rad]
    field : str
        Magnification: which part of the detector is read, "full", "middle" or "small".
    source_to_detector : float
        [mm]
    pixels : int
        Along a side of the picture, whatever the field.
    carm : CArm
        Made from all this: the geometry of source and detector.

    Raises
    ------
    ValueError
        If a motion is beyond its limit, in words that say what stops it; or the field is none of the three.
    """

    home: tuple[float, float, float]
    along: float = 0.0
    across: float = 0.0
    height: float = 0.0
    orbit: float = 0.0
    tilt: float = 0.0
    swivel: float = 0.0
    field: str = "full"
    source_to_detector: float = number("xray", "carm.source_to_detector")
    pixels: int = int(number("xray", "carm.pixels"))
    carm: CArm = dataclass_field(init=False, compare=False, repr=False)

    def __post_init__(self):
        object.__setattr__(self, "home", tuple(np.asarray(self.home, float).tolist()))
        if self.field not in FIELDS:
            raise ValueError(f"field must be one of {', '.join(FIELDS)}, got {self.field!r}: choose one")
        for motion, reason in MOTIONS.items():
            _check_motion(motion, getattr(self, motion), reason)
        carm = CArm(
            self.isocentre,
            self.orbit,
            self.tilt,
            number("xray", f"carm.field_{self.field}"),
            self.pixels,
            source_to_detector=self.source_to_detector,
            swivel=self.swivel,
        )
        object.__setattr__(self, "carm", carm)

    @property
    def isocentre(self):
        """The patient's point that the picture is centred on (3,). [mm]"""
        return tuple((np.array(self.home) + (self.across, self.height, self.along)).tolist())

    def moved(self, **steps):
        """Return a copy moved by so much, like along=10.0 [mm], orbit=0.1 [rad]; ValueError at a limit."""
        unknown = sorted(set(steps) - set(MOTIONS))
        if unknown:
            raise ValueError(
                f"motion must be one of {', '.join(MOTIONS)}, got {', '.join(unknown)}: choose one of these"
            )
        return replace(self, **{motion: getattr(self, motion) + step for motion, step in steps.items()})

    def set_to(self, **values):
        """Return a copy with motions or the field set; raises ValueError at a limit."""
        return replace(self, **values)


def limits(motion):
    """Return (least, largest) of a motion, in mm or rad."""
    figure = table("xray")[f"motion.{motion}"]
    return figure.low, figure.high


def _check_motion(motion, value, reason):
    low, high = limits(motion)
    if low - 1e-9 <= value <= high + 1e-9:
        return
    if motion in ANGLES:
        motion, value, low, high = f"{motion}_deg", degrees(value), degrees(low), degrees(high)
    else:
        motion = f"{motion}_mm"
    raise ValueError(f"{motion} must lie between {low:g} and {high:g}, got {value:g}: {reason}")


def named_view(stand, name, *, angle=None):
    """Return a copy turned to a named view; it keeps its place along the patient and its field.

    Parameters
    ----------
    name : str
        "AP", "lateral", "oblique left" or "oblique right" (the side that the detector swings over:
        contralateral for a needle from the other side), "caudal tilt" (the detector toward the feet).
    angle : float or None
        Of the oblique or the tilt, positive; the start of the table if None. [rad]

    Raises
    ------
    ValueError
        If there is no such view, `angle` is given for one that has none, or a limit is met.
    """
    if name not in VIEWS:
        raise ValueError(f"view must be one of {', '.join(VIEWS)}, got {name!r}: choose one of these")
    if angle is not None and name in ("AP", "lateral"):
        raise ValueError(
            f"angle must be left out for the view {name}, got {degrees(angle):g}°: set orbit instead"
        )
    oblique, caudal = (
        number("xray", f"view.{kind}") if angle is None else angle for kind in ("oblique", "caudal_tilt")
    )
    orbit, tilt = {
        "AP": (0.0, 0.0),
        "lateral": (radians(90.0), 0.0),
        "oblique left": (-oblique, 0.0),
        "oblique right": (oblique, 0.0),
        "caudal tilt": (0.0, -caudal),
    }[name]
    return replace(stand, orbit=orbit, tilt=tilt, swivel=0.0)


def contralateral_view(side):
    """Return the name of the oblique view for a needle that comes from `side` of the patient."""
    names = {"left": "oblique right", "right": "oblique left"}
    if side not in names:
        raise ValueError(f"side must be left or right, got {side!r}: say where the needle comes from")
    return names[side]


@dataclass(frozen=True)
class StoredPlaces:
    """Places of the C-arm to go back to, by name. A value: storing returns a new one."""

    places: MappingProxyType = dataclass_field(default_factory=lambda: MappingProxyType({}))

    def store(self, name, stand):
        """Return a copy that also knows `stand`; a name used before is overwritten."""
        return StoredPlaces(MappingProxyType({**self.places, str(name): stand}))

    def recall(self, name):
        """Return the Stand of a name; raises ValueError, naming those that are stored."""
        if name not in self.places:
            known = ", ".join(self.places) or "none yet"
            raise ValueError(f"name must be one of the stored places ({known}), got {name!r}: store it first")
        return self.places[name]
