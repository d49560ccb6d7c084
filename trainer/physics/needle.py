"""The needle as numbers, and how it is aimed at the skin."""

import math
from dataclasses import dataclass, replace

from meshes.compiled import kernel
from meshes.levels import check_interspace
from meshes.soft_tissue import skin_frame
from meshes.tables.loader import numbers, table
from meshes.units import degrees, radians

LEFT, RIGHT = "left", "right"
SIDES = (LEFT, RIGHT)
STEEPEST = radians(90.0)
WIDEST = radians(60.0)


def table_lengths():
    """Return the usable lengths that needles are made in, rising. [mm]"""
    return tuple(sorted(numbers("needle", "length").values()))


@dataclass(frozen=True)
class Needle:
    """A straight epidural needle: a rigid capsule as far as bone is concerned.

    Parameters
    ----------
    length : float
        From the hub to the tip. [mm]
    gauge : int
        One that tables/needle.csv knows; gives the radii where they are not given.
    outer_radius, bore_radius, bevel_length : float or None
        [mm]

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
