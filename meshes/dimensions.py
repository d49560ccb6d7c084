"""The numbers of one vertebra: tables, corrections found by feedback, and the shape sliders."""

import math
from dataclasses import dataclass, field

from meshes.curve import endplate_chord
from meshes.findings import FacetHypertrophy, Laminectomy, TransitionalLevel, WedgeFracture, of_kind
from meshes.levels import COLUMN, LEVELS, SACRUM, is_lumbar
from meshes.tables import loader
from meshes.units import radians

# Below this the two laminae would touch. [mm]
LEAST_GAP = 1.5
ROOF_GAPS = ("gap_at_midline", "gap_at_six")
SIDEWAYS = (
    "upper_endplate_width",
    "lower_endplate_width",
    "pedicle_width",
    "transverse_span",
    "facet_distance",
    "window_half_width",
)
CANAL = ("canal_width", "canal_depth")


@dataclass(frozen=True)
class Dimensions:
    """Sizes of one vertebra at stature_scale 1. Lengths in mm, angles in rad.

    Sizes in `size` are what the rows are made from: corrected so that the built bone measures what the tables
    say. The fields beside it are what the tables say, for everything that places one bone against another;
    `sound_half_width` is that of the window below before thick facets narrow it.
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
    superior_hypertrophy: float
    inferior_hypertrophy: float
    sound_half_width: float
    width_scale: float = 1.0
    asymmetry: float = 0.0
    laminectomies: tuple = ()
    sacralised: bool = False

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


def tabulated_corrections():
    """Return {level: {name: correction}} of T6..L5: what the built bones fell short of, by feedback. [mm]"""
    return {level: loader.numbers("calibration", level) for level in LEVELS}


def hypertrophy(parameters, interspace):
    """Return how thick the facets of an interspace are, 0 to 1: the worse of the slider and the findings."""
    found = of_kind(parameters.findings, FacetHypertrophy)
    return max(parameters.facet_hypertrophy, *(f.grade for f in found if f.interspace == interspace), 0.0)


def fractured_share(parameters, level):
    """Return the share of its height that the front of a body has lost."""
    return sum(f.share for f in of_kind(parameters.findings, WedgeFracture) if f.level == level)


def transition(parameters):
    """Return 'sacralised', 'lumbarised' or None."""
    found = of_kind(parameters.findings, TransitionalLevel)
    return found[0].kind if found else None


def dimensions(level, parameters, *, corrections=None):
    """Return the `Dimensions` of a vertebra T6..L5 under the shape sliders and findings.

    `corrections` is {level: {name: correction}}; those of the table if not given. [mm]
    """
    corrections = tabulated_corrections() if corrections is None else corrections
    asked = loader.numbers("vertebrae", level)
    _apply_scales(asked, parameters)
    size = dict(asked)
    for name, correction in corrections[level].items():
        size[name] += correction
    above = COLUMN[max(COLUMN.index(level) - 1, 0)]
    below = COLUMN[COLUMN.index(level) + 1]
    thick_below = hypertrophy(parameters, f"{level}-{below}")
    _apply_window(size, parameters)
    sound_half_width = size["window_half_width"]
    # Hypertrophic facets narrow the window from the sides.
    size["window_half_width"] *= 1.0 - 0.3 * thick_below
    _apply_overlap(level, size, parameters.spinous_overlap)
    front = 1.0 - fractured_share(parameters, level)
    size["anterior_height"] *= front
    anterior, posterior, depth = (
        front * asked["anterior_height"],
        asked["posterior_height"],
        endplate_chord(level),
    )
    return Dimensions(
        level,
        size,
        posterior_wall=0.5 * depth,
        body_depth=depth,
        posterior_height=posterior,
        anterior_height=anterior,
        wedge=math.atan2(anterior - posterior, depth),
        canal_depth=asked["canal_depth"],
        canal_width=asked["canal_width"],
        upper_edge_radius=loader.number("vertebrae", f"{above}.lamina_edge_radius"),
        lower_edge_radius=asked["lamina_edge_radius"],
        superior_hypertrophy=hypertrophy(parameters, f"{above}-{level}"),
        inferior_hypertrophy=thick_below,
        sound_half_width=sound_half_width,
        width_scale=parameters.width_scale,
        asymmetry=parameters.asymmetry,
        laminectomies=tuple(cut for cut in of_kind(parameters.findings, Laminectomy) if cut.level == level),
        sacralised=level == LEVELS[-1] and transition(parameters) == "sacralised",
    )


def sacral_dimensions(parameters):
    """Return {name: size} of the sacrum under the shape sliders, as the table has them. [mm]"""
    size = loader.numbers("vertebrae", SACRUM)
    for names, scale in ((SIDEWAYS, parameters.width_scale), (CANAL, parameters.canal_scale)):
        size.update({name: size[name] * scale for name in names if name in size})
    return size


def _apply_scales(size, parameters):
    for name in SIDEWAYS:
        size[name] *= parameters.width_scale
    for name in CANAL:
        size[name] *= parameters.canal_scale


def _apply_window(size, parameters):
    for name in ROOF_GAPS:
        size[name] = max(size[name] * parameters.window_scale, LEAST_GAP)
    size["window_half_width"] *= 0.5 * (1.0 + parameters.window_scale)


def _apply_overlap(level, size, overlap):
    if is_lumbar(level) or level == "T12":
        # The lower border grows down, the upper border stays.
        size["spinous_tip_drop"] += 1.6 * overlap
        size["spinous_height"] += 3.2 * overlap
    else:
        size["spinous_tip_drop"] += 7.0 * overlap
        size["spinous_length"] *= 1.0 + 0.12 * overlap
        size["spinous_angle"] += radians(6.0) * overlap


def all_dimensions(parameters, *, corrections=None):
    """Return {level: Dimensions} of T6..L5; see `dimensions`."""
    corrections = tabulated_corrections() if corrections is None else corrections
    return {level: dimensions(level, parameters, corrections=corrections) for level in LEVELS}
