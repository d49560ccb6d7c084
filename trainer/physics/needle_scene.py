"""What the kernels of an advancing needle ask about one patient, gathered once."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from meshes.canal_findings import CUT_SECTOR, laminectomy_beds
from meshes.canal_marks import Interspace
from meshes.levels import INTERSPACES, LEVELS
from meshes.roots import SIDES, root_path, root_radius
from meshes.tables.loader import number
from trainer.physics.needle_axis import arrays_of

GRAINS = 512
# Columns of the table of interspaces.
FIRST, LAST, GONE_LEFT, GONE_RIGHT, OSSIFIED, HALF_GAP, NEAR_POCKET, FAR_POCKET = range(8)
# Columns of the table of beds of surgery.
BED_FIRST, BED_LAST, BED_SECTOR, BED_SIDE, BED_SCAR = range(5)
BELOW_FLAVUM = 2.0  # [mm] a flavum is met so far below the edge that it springs from
EVERY_ROOT_POINT = 4


@dataclass(frozen=True, eq=False)
class NeedleScene:
    """One patient as a needle meets it; nothing in it changes.

    Parameters
    ----------
    anatomy : Anatomy
    bones : tuple
        (values, table) of everything that stops a needle.
    layers, chart : tuple
        As `arrays_of` returns them.
    marks : tuple
        (interspaces (k, 8), cord (n, 4), beds (b, 5), sizes (5,)), see `tissue_path`.
    grain : (512,) float
        Numbers from 0 to 1 that make the same tissue feel the same each time.
    roots : tuple
        (segments (m, 7), rows (m,)): both ends and the radius of pieces of the nerve roots. [mm]
    root_names : tuple of str
    """

    anatomy: object = field(repr=False)
    bones: tuple = field(repr=False)
    layers: tuple = field(repr=False)
    chart: tuple = field(repr=False)
    marks: tuple = field(repr=False)
    grain: np.ndarray = field(repr=False)
    roots: tuple = field(repr=False)
    root_names: tuple = ()

    @property
    def obstacles(self):
        """PackedBones of everything that stops a needle."""
        return self.anatomy.obstacles


def needle_scene(anatomy, *, rng=None, hollows=None):
    """Return the NeedleScene of an anatomy.

    Parameters
    ----------
    rng : int, numpy.random.Generator or None
        Of what a picture does not show: the grain of the tissues, hollows between ligaments and fascial
        planes, small vessels. The same seed gives the same patient to the last bit.
    hollows : tuple of str or None
        Interspaces behind whose flavum there is a hollow that takes fluid; drawn where not given.
    """
    rng = np.random.default_rng(rng)
    grain = rng.random(GRAINS)
    _, layers, chart = arrays_of(anatomy)
    obstacles = anatomy.obstacles
    marks = (_interspaces(anatomy.canal, rng, hollows), _cord(anatomy.canal), _beds(anatomy), _sizes(anatomy))
    segments, rows, names = _roots(anatomy)
    return NeedleScene(
        anatomy, (obstacles.values, obstacles.table), layers, chart, marks, grain, (segments, rows), names
    )


def _interspaces(canal, rng, hollows):
    """Return (k, 8): stations of the flavum, what is missing, half a cleft, and a hollow behind it. [mm]"""
    table, drawn = np.zeros((len(canal.interspaces), 8)), rng.random((len(INTERSPACES), 2))
    nearest, farthest = number("tissue", "pocket.nearest"), number("tissue", "pocket.farthest")
    for row, (name, space) in zip(table, canal.interspaces.items()):
        space: Interspace
        row[FIRST], row[LAST] = space.flavum_caudal - BELOW_FLAVUM, space.flavum_cranial
        gone = canal.missing_flava.get(name)
        row[GONE_LEFT], row[GONE_RIGHT] = gone in ("both", "left"), gone in ("both", "right")
        row[OSSIFIED] = name in canal.ossified
        row[HALF_GAP] = 0.5 * number("flavum", "gap_width") if name in canal.flavum_gaps else 0.0
        chance, depth = drawn[INTERSPACES.index(name)]
        if (chance < number("tissue", "pocket.chance")) if hollows is None else name in hollows:
            row[NEAR_POCKET] = nearest + depth * (farthest - nearest)
            row[FAR_POCKET] = row[NEAR_POCKET] + number("tissue", "pocket.length")
    return table


def _cord(canal):
    """Return (n, 4) over the stations: centre dorsal and left of the axis, half depth, half width. [mm]"""
    shift = np.full(len(canal.u), float(canal.cord_shift))
    return np.column_stack([canal.cord_offset, shift, canal.cord_half_depth, canal.cord_half_width])


def _beds(anatomy):
    spans = {level: (low, high) for level, low, high in anatomy.canal.level_spans}
    beds = laminectomy_beds(anatomy.parameters.findings, marks=anatomy.canal.interspaces, spans=spans)
    sides = {"both": 0.0, "left": 1.0, "right": -1.0}
    rows = [[bed.first, bed.last, CUT_SECTOR[bed.reach], sides[bed.side], bed.scar] for bed in beds]
    return np.array(rows, float).reshape(-1, 5)


def _sizes(anatomy):
    """Return (5,): thickness of skin and fascia, half width of the ligaments, reach of scar, dura. [mm]"""
    return np.array(
        [
            anatomy.tissue.skin_thickness,
            number("tissue", "fascia.thickness"),
            0.5 * number("ligaments", "interspinous.thickness"),
            number("tissue", "scar.behind"),
            number("tissue", "dura.thickness"),
        ]
    )


def _roots(anatomy):
    """Return segments (m, 7), rows (m,) and names of the nerve roots that the chart covers."""
    segments, rows, names = [], [], []
    charted = [level for level, _, _ in anatomy.canal.level_spans]
    for level in (name for name in LEVELS if name in charted):
        radius = anatomy.parameters.stature_scale * root_radius(level)
        for side, sign in SIDES:
            path = root_path(anatomy, level, sign)[::EVERY_ROOT_POINT]
            segments += [[*a, *b, radius] for a, b in pairwise(path)]
            rows += [len(names)] * (len(path) - 1)
            names.append(f"the {side} {level} root")
    return np.array(segments, float).reshape(-1, 7), np.array(rows, np.int64), tuple(names)
