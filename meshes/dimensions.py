"""The numbers of one vertebra: tables, corrections found by feedback, and the shape sliders."""

from dataclasses import dataclass, field

from meshes.curve import endplate_chord, wedge
from meshes.levels import COLUMN, LEVELS, is_lumbar
from meshes.tables import loader
from meshes.units import radians

# Below this the two laminae would touch. [mm]
LEAST_GAP = 1.5
ROOF_GAPS = ("gap_at_midline", "gap_at_six")


@dataclass(frozen=True)
class Dimensions:
    """Sizes of one vertebra at stature_scale 1. Lengths in mm, angles in rad.

    Sizes in `size` are what the rows are made from: corrected so that the built bone measures what the tables
    say. The fields beside it are what the tables say, for everything that places one bone against another.
    """

    level: str
    size: dict = field(repr=False)
    posterior_wall: float
    body_depth: float
    posterior_height: float
    anterior_height: float
    wedge: float
    canal_depth: float
    canal_width: float
    upper_edge_radius: float
    lower_edge_radius: float
    facet_hypertrophy: float

    def __getitem__(self, name):
        return self.size[name]

    @property
    def lumbar(self):
        return is_lumbar(self.level)

    @property
    def number(self):
        return int(self.level[1:])

    @property
    def lumbar_like(self):
        """Whether the arch is of the lumbar kind: wide feet and a hatchet-shaped spinous process."""
        return self.lumbar or self.level == "T12"


def dimensions(level, parameters):
    """Return the `Dimensions` of a vertebra T6..L5 under the shape sliders."""
    table = loader.numbers("vertebrae", level)
    size = dict(table)
    for name, correction in loader.numbers("calibration", level).items():
        size[name] += correction
    _apply_window(size, parameters)
    _apply_overlap(level, size, parameters.spinous_overlap)
    above = COLUMN[max(COLUMN.index(level) - 1, 0)]
    depth = endplate_chord(level)
    return Dimensions(
        level,
        size,
        posterior_wall=0.5 * depth,
        body_depth=depth,
        posterior_height=table["posterior_height"],
        anterior_height=table["anterior_height"],
        wedge=wedge(level),
        canal_depth=table["canal_depth"],
        canal_width=table["canal_width"],
        upper_edge_radius=loader.number("vertebrae", f"{above}.lamina_edge_radius"),
        lower_edge_radius=table["lamina_edge_radius"],
        facet_hypertrophy=parameters.facet_hypertrophy,
    )


def _apply_window(size, parameters):
    for name in ROOF_GAPS:
        size[name] = max(size[name] * parameters.window_scale, LEAST_GAP)
    # Hypertrophic facets narrow the window from the sides.
    size["window_half_width"] *= 0.5 * (1.0 + parameters.window_scale)
    size["window_half_width"] *= 1.0 - 0.3 * parameters.facet_hypertrophy


def _apply_overlap(level, size, overlap):
    if is_lumbar(level) or level == "T12":
        # The lower border grows down, the upper border stays.
        size["spinous_tip_drop"] += 1.6 * overlap
        size["spinous_height"] += 3.2 * overlap
    else:
        size["spinous_tip_drop"] += 7.0 * overlap
        size["spinous_length"] *= 1.0 + 0.12 * overlap
        size["spinous_angle"] += radians(6.0) * overlap


def all_dimensions(parameters):
    """Return {level: Dimensions} of T6..L5."""
    return {level: dimensions(level, parameters) for level in LEVELS}
