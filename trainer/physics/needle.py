"""The needle as numbers, and how it is aimed at the skin."""

import math
from dataclasses import dataclass, replace

import numpy as np

from meshes.compiled import kernel
from meshes.levels import check_interspace
from meshes.soft_tissue import skin_frame
from meshes.tables.loader import number, numbers, table
from meshes.units import degrees, radians

LEFT, RIGHT = "left", "right"
SIDES = (LEFT, RIGHT)
STRAIGHT, CURVED = "straight", "curved"
TIPS = (STRAIGHT, CURVED)
STEEPEST = radians(90.0)
WIDEST = radians(60.0)


def table_lengths():
    """Return the usable lengths that needles are made in, rising. [mm]"""
    return tuple(sorted(numbers("needle", "length").values()))


@dataclass(frozen=True)
class Needle:
    """An epidural needle: a rigid, straight capsule as far as bone is concerned.

    A curved tip and an open bore do not change the way of the shaft; they say where the opening lies and
    looks, and whether fluid or a lead can pass.

    Parameters
    ----------
    length : float
        From the hub to the tip. [mm]
    gauge : int
        One that tables/needle.csv knows; gives the radii where they are not given.
    outer_radius, bore_radius, bevel_length, opening_length : float or None
        The opening is the hole in the face of the bevel; both lengths run along the shaft. [mm]
    tip : str
        "curved" (slightly, toward the side that the bevel opens to) or "straight".
    stylet_in : bool
        Whether the stylet fills the bore; only an open needle shows fluid, takes a syringe or a lead.

    Raises
    ------
    ValueError
        If the gauge is unknown or a length cannot be that of a needle.
    """

    length: float = 114.0
    gauge: int = 14
    outer_radius: float | None = None
    bore_radius: float | None = None
    bevel_length: float | None = None
    opening_length: float | None = None
    tip: str = CURVED
    stylet_in: bool = True

    def __post_init__(self):
        figures, size = table("needle"), f"gauge.{self.gauge}"
        if f"{size}.outer_diameter" not in figures:
            known = sorted({key.split(".")[1] for key in figures if key.startswith("gauge.")})
            raise ValueError(
                f"gauge must be one of {', '.join(known)}, got {self.gauge}: add a row to tables/needle.csv"
            )
        self._default("outer_radius", 0.5 * figures[f"{size}.outer_diameter"].value)
        self._default("bore_radius", 0.5 * figures[f"{size}.bore_diameter"].value)
        self._default("bevel_length", figures["bevel_length"].value)
        self._default("opening_length", min(figures["opening_length"].value, self.bevel_length))
        if not 40.0 <= self.length <= 250.0:
            raise ValueError(
                f"length must lie between 40 and 250 mm, got {self.length:g}: "
                f"needles are made in {', '.join(f'{mm:g}' for mm in table_lengths())} mm"
            )
        if not 0.0 < self.bore_radius < self.outer_radius < 3.0:
            raise ValueError(
                "bore_radius must be positive and less than outer_radius, and that less than 3 mm, "
                f"got {self.bore_radius:g} and {self.outer_radius:g}: give radii, not diameters"
            )
        if not 0.0 <= self.bevel_length <= 10.0:
            raise ValueError(
                f"bevel_length must lie between 0 and 10 mm, got {self.bevel_length:g}: "
                "measure it along the shaft"
            )
        if not 0.0 <= self.opening_length <= self.bevel_length:
            raise ValueError(
                f"opening_length must lie between 0 and the bevel_length of {self.bevel_length:g} mm, got "
                f"{self.opening_length:g}: the opening is a part of the bevel"
            )
        if self.tip not in TIPS:
            raise ValueError(f"tip must be {' or '.join(TIPS)}, got {self.tip!r}: name one of them")

    @property
    def bend_angle(self):
        """How far the opening looks away from the shaft. [rad]"""
        return number("needle", f"tip.{self.tip}.bend_angle")

    @property
    def tip_shift(self):
        """How far the end lies off the shaft's axis, on the side that the bevel opens to. [mm]

        An arc of even curvature: length (1 - cos angle) / angle.
        """
        angle, length = self.bend_angle, number("needle", f"tip.{self.tip}.bend_length")
        return length * (1.0 - math.cos(angle)) / angle if angle > 0.0 else 0.0

    @property
    def opening_behind_tip(self):
        """How far the middle of the opening lies behind the tip, along the shaft. [mm]"""
        return 0.5 * self.bevel_length

    @property
    def stylet_radius(self):
        """[mm]"""
        return self.bore_radius - number("needle", "stylet.clearance")

    def with_stylet(self, stylet_in):
        """Return the same needle with its stylet in or out."""
        return replace(self, stylet_in=bool(stylet_in))

    def opening_direction(self, direction, face):
        """Return where the opening looks: unit `direction` (3,) turned toward the bevel's `face` (3,).

        Raises ValueError where the face lies along the shaft and so names no side.
        """
        direction, face = np.asarray(direction, float), np.asarray(face, float)
        side = face - (face @ direction) * direction
        length = float(np.linalg.norm(side))
        if length < 1e-9:
            raise ValueError(
                f"face must point to a side of the shaft, got {face.tolist()}: name where the bevel opens to"
            )
        return math.cos(self.bend_angle) * direction + math.sin(self.bend_angle) * side / length

    def _default(self, name, value):
        if getattr(self, name) is None:
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class NeedleAim:
    """Where a needle enters the skin, and how it is held.

    Parameters
    ----------
    interspace : str
        The one aimed at, such as "T12-L1".
    entry_x, entry_z : float
        Skin entry in the patient's frame; its height y follows from the skin. [mm]
    approach : float
        Between needle and skin plane at the entry; a right angle is square to the skin. [rad]
    medial : float
        Turn in the skin plane away from straight up along the row of spinous processes, toward the
        midline from the entry side. [rad]
    side : str or None
        "left" or "right": the patient's side that the needle comes from. Where not given, the side of
        the patient's midplane that the entry lies on; name it where a spine is curved.

    Raises
    ------
    ValueError
        If an angle, the interspace or the side is not one that can be aimed at.
    """

    interspace: str
    entry_x: float
    entry_z: float
    approach: float
    medial: float
    side: str | None = None

    def __post_init__(self):
        object.__setattr__(self, "interspace", check_interspace(self.interspace))
        if self.side is None:
            object.__setattr__(self, "side", LEFT if self.entry_x >= 0.0 else RIGHT)
        check_side(self.side)
        check_angles(self.approach, self.medial)
        for name in ("entry_x", "entry_z"):
            if not math.isfinite(getattr(self, name)):
                raise ValueError(f"{name} must be a number, got {getattr(self, name)}: give it in mm")

    @property
    def sign(self):
        """1.0 from the patient's left, -1.0 from the right."""
        return side_sign(self.side)

    def with_changes(self, **changes):
        """Return a copy with some fields replaced."""
        return replace(self, **changes)


def check_side(side):
    """Return `side`, or raise ValueError unless it is "left" or "right"."""
    if side not in SIDES:
        raise ValueError(f"side must be left or right, got {side!r}: name the patient's own side")
    return side


def side_sign(side):
    """Return 1.0 for the patient's left, -1.0 for the right."""
    return 1.0 if check_side(side) == LEFT else -1.0


def check_angles(approach, medial):
    """Raise ValueError unless the two angles [rad] are ones that a needle can be held at."""
    if not radians(5.0) <= approach <= STEEPEST:
        raise ValueError(
            f"approach_deg must lie between 5 and 90, got {degrees(approach):g}: "
            "90 is square to the skin, 30 to 45 is usual"
        )
    check_medial(medial)


def check_medial(medial):
    """Raise ValueError unless a needle can be turned by this angle [rad] toward the midline."""
    if not -WIDEST <= medial <= WIDEST:
        raise ValueError(
            f"medial_deg must lie between -60 and 60, got {degrees(medial):g}: "
            "positive turns toward the midline, 10 to 20 is usual"
        )


@kernel
def axis_from_skin(profile, scale, x, z, sign, approach, medial):
    """Return entry (3), direction (3) and the outward normal of the skin (3) as one tuple of 9.

    direction = cos a (cos b cranial + sin b inward) - sin a normal, inward = -sign left.
    """
    y, nx, ny, nz, cx, cy, cz, lx, ly, lz = skin_frame(profile, scale, x, z)
    up, inward, down = (
        math.cos(approach) * math.cos(medial),
        -sign * math.cos(approach) * math.sin(medial),
        math.sin(approach),
    )
    dx = up * cx + inward * lx - down * nx
    dy = up * cy + inward * ly - down * ny
    dz = up * cz + inward * lz - down * nz
    return x, y, z, dx, dy, dz, nx, ny, nz
