"""What can be changed about a spine, with its limits. Angles in radians, lengths in mm."""

from dataclasses import dataclass, fields, replace

from meshes.findings import check_findings
from meshes.levels import INTERSPACES, check_interspace, check_level
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
    width_scale : float
        Scales bodies, processes and joints sideways: large at 1.1, slight at 0.9. (shape)
    canal_scale : float
        Scales the width and depth of the bony canal. (shape)
    asymmetry : float
        How unlike left and right are, 0 mirror images, 1 as unlike as in a marked case; the sign says which
        side is the larger. (shape)
    bolster : float
        How far a bolster under the belly flattens the lumbar curve. [rad]
    rib_pairs : int
        11, 12 or 13.
    flavum_gaps : tuple of str
        Interspaces whose ligamenta flava leave a gap in the midline.
    findings : tuple of meshes.findings.Finding
        What is wrong with the spine or has been done to it.
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
    width_scale: float = 1.0
    canal_scale: float = 1.0
    asymmetry: float = 0.0
    bolster: float = 0.0
    rib_pairs: int = 12
    flavum_gaps: tuple = ()
    findings: tuple = ()

    def __post_init__(self):
        for name, (low, high) in LIMITS.items():
            value = getattr(self, name)
            if value is None:
                continue
            if not low <= value <= high:
                raise ValueError(_out_of_range(name, low, high, value))
        object.__setattr__(self, "curve_top", check_level(self.curve_top))
        object.__setattr__(self, "curve_bottom", check_level(self.curve_bottom))
        if type(self.rib_pairs) is not int or self.rib_pairs not in RIB_PAIRS:
            raise ValueError(
                f"rib_pairs must be one of {', '.join(map(str, RIB_PAIRS))}, got {self.rib_pairs!r}: "
                "choose one of these"
            )
        object.__setattr__(self, "flavum_gaps", check_gaps(self.flavum_gaps))
        object.__setattr__(self, "findings", check_findings(self.findings))

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
    "width_scale": (0.88, 1.12),
    "canal_scale": (0.85, 1.15),
    "asymmetry": (-1.0, 1.0),
    "bolster": (0.0, radians(25.0)),
}
RIB_PAIRS = (11, 12, 13)
ANGLES = ("lumbar_lordosis", "thoracic_kyphosis", "scoliosis", "bolster")
SHAPE = (
    "window_scale",
    "facet_hypertrophy",
    "spinous_overlap",
    "width_scale",
    "canal_scale",
    "asymmetry",
)
NAMES = tuple(field.name for field in fields(SpineParameters))


def check_gaps(interspaces):
    """Return the names of interspaces once each, head first; raises ValueError for an unknown one."""
    if isinstance(interspaces, str):
        raise ValueError(
            f"flavum_gaps must be a list of interspaces, got {interspaces!r}: put the name in a list"
        )
    named = {check_interspace(name) for name in interspaces}
    return tuple(name for name in INTERSPACES if name in named)


def shape_facts(parameters):
    """Return everything that the shape of the bones depends on, at stature 1: equal facts, equal bones."""
    findings = tuple(finding for finding in parameters.findings if finding.changes_bones)
    return (*(getattr(parameters, name) for name in SHAPE), findings)


def _out_of_range(name, low, high, value):
    if name in ANGLES:
        name, low, high, value = f"{name}_deg", degrees(low), degrees(high), degrees(value)
    return f"{name} must lie between {low:g} and {high:g}, got {value:g}: choose a value inside"
