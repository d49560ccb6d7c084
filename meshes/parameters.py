"""What can be changed about a spine, with its limits. Angles in radians, lengths in mm."""

from dataclasses import dataclass, fields, replace

from meshes.levels import check_level
from meshes.units import degrees, radians

STATURE_OF_THE_TABLES = 1.0


@dataclass(frozen=True)
class SpineParameters:
    """The sliders of the parametric spine.

    Shape parameters (`SHAPE`) change bones; the others only move them, or change the soft tissue.

    Parameters
    ----------
    stature_scale : float
        Scales every length of the tables; 1 is the tabulated adult.
    lumbar_lordosis, thoracic_kyphosis : float
        Cobb angles L1 upper plate to S1 upper plate, and T6 upper to T12 lower plate. [rad]
    scoliosis : float
        Coronal Cobb angle, positive = convex to the patient's left. [rad]
    curve_top, curve_bottom : str
        End vertebrae of the scoliosis.
    body_mass_index : float
        Sets the depth of the soft tissue unless `skin_to_epidural` is given. [kg/m²]
    skin_to_epidural : float or None
        Midline depth from the skin to the epidural space at L2-L3. [mm]
    window_scale : float
        Scales every interlaminar gap. (shape)
    facet_hypertrophy : float
        0 none, 1 severe. (shape)
    spinous_overlap : float
        -1 short and straight, +1 long and steep spinous processes. (shape)
    disc_loss : float
        Share of every disc's height that is lost.
    flavum_scale : float
        Scales the thickness of the ligamentum flavum.
    cord_shift : float
        Physiologic midline: how far the cord lies to the left of the sac's centre. [mm]
    """

    stature_scale: float = 1.0
    lumbar_lordosis: float = radians(50.0)
    thoracic_kyphosis: float = radians(25.0)
    scoliosis: float = 0.0
    curve_top: str = "T8"
    curve_bottom: str = "L2"
    body_mass_index: float = 25.0
    skin_to_epidural: float | None = None
    window_scale: float = 1.0
    facet_hypertrophy: float = 0.0
    spinous_overlap: float = 0.0
    disc_loss: float = 0.0
    flavum_scale: float = 1.0
    cord_shift: float = 0.0

    def __post_init__(self):
        for name, (low, high) in LIMITS.items():
            value = getattr(self, name)
            if value is None:
                continue
            if not low <= value <= high:
                raise ValueError(_out_of_range(name, low, high, value))
        object.__setattr__(self, "curve_top", check_level(self.curve_top))
        object.__setattr__(self, "curve_bottom", check_level(self.curve_bottom))

    def with_changes(self, **changes):
        """Return a copy with some parameters replaced."""
        return replace(self, **changes)


# Wide enough for difficult teaching cases; the published spread of each is in meshes/tables/alignment.csv.
LIMITS = {
    "stature_scale": (0.85, 1.15),
    "lumbar_lordosis": (radians(10.0), radians(80.0)),
    "thoracic_kyphosis": (radians(5.0), radians(60.0)),
    "scoliosis": (radians(-45.0), radians(45.0)),
    "body_mass_index": (16.0, 50.0),
    "skin_to_epidural": (25.0, 110.0),
    "window_scale": (0.5, 1.5),
    "facet_hypertrophy": (0.0, 1.0),
    "spinous_overlap": (-1.0, 1.0),
    "disc_loss": (0.0, 0.6),
    "flavum_scale": (0.5, 2.0),
    "cord_shift": (-2.0, 2.0),
}
ANGLES = ("lumbar_lordosis", "thoracic_kyphosis", "scoliosis")
SHAPE = ("window_scale", "facet_hypertrophy", "spinous_overlap")
NAMES = tuple(field.name for field in fields(SpineParameters))


def _out_of_range(name, low, high, value):
    if name in ANGLES:
        name, low, high, value = f"{name}_deg", degrees(low), degrees(high), degrees(value)
    return f"{name} must lie between {low:g} and {high:g}, got {value:g}: choose a value inside"
