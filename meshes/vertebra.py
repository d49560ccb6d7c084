"""Vertebrae T6..L5 and the sacrum as rows, with the landmarks that others measure from."""

from dataclasses import dataclass, replace

import numpy as np

from meshes import arch
from meshes.asymmetry import LEAN, SLANT, with_unlike_sides
from meshes.costal import costal_rows
from meshes.curve import endplate_chord, level_poses, wedge
from meshes.dimensions import all_dimensions, hypertrophy, sacral_dimensions, transition
from meshes.fields import Clearance
from meshes.lamina import LaminaEdges, solve_laminae
from meshes.laminectomy import TALL, laminectomy_rows
from meshes.levels import COLUMN, LEVELS, SACRUM, check_level, is_lumbar
from meshes.parameters import SpineParameters
from meshes.rows import body_row, canal_row, stack
from meshes.sacrum import POSTERIOR_WALL, SIDE_BEGINS, first_tubercle_tip, sacrum_edges, sacrum_rows
from meshes.units import radians

# Width of a facet joint. [mm]
JOINT_GAP = 0.95
# Lumbar joints stand close to the midline: carving begins here. [mm]
LUMBAR_INNER_LIMIT = 4.5


@dataclass(frozen=True, eq=False)
class VertebraShape:
    """One bone: what fills it, and where its landmarks are.

    Everything at stature_scale 1 in the bone's frame: origin in the middle of the body, x left, y posterior,
    z cranial. [mm]

    Parameters
    ----------
    level : str
    rows : (n, 44) float
        For `meshes.fields`.
    articular_rows : (m, 44) float
        The arch, joints plumper than they are: what the bone below must keep clear of. Empty for S1.
    posterior_wall : float
        y of the posterior wall of the body.
    body_depth : float
        Depth over which the heights differ.
    posterior_height, anterior_height : float
        Of the body.
    wedge : float
        Angle between the endplates, positive where the front is taller. [rad]
    canal_depth, canal_width : float
    lamina : LaminaEdges
    spinous_tip : (2,) float
        (y, z) of the tip of the spinous process; of the first tubercle for S1. As drawn, before any surgery.
    window_half_width : float
        Where the interlaminar window below the bone ends to the side; 0 for S1, which has none.
    symmetric : bool
        Whether the right half is the mirror image of the left: `meshes.fields.evaluate_half` is enough.
    spinous_lean : float
        x of the tip of the spinous process.
    """

    level: str
    rows: np.ndarray
    articular_rows: np.ndarray
    posterior_wall: float
    body_depth: float
    posterior_height: float
    anterior_height: float
    wedge: float
    canal_depth: float
    canal_width: float
    lamina: LaminaEdges
    spinous_tip: np.ndarray
    window_half_width: float
    symmetric: bool = True
    spinous_lean: float = 0.0


def _body(numbers):
    lumbar = numbers.lumbar
    # Kidney-shaped: the middle of the wall stays where the canal begins, its sides come back beyond it.
    hollow = 1.2 if not lumbar else 2.6 if numbers.level != "L5" else 1.4
    return body_row(
        upper=(numbers["upper_endplate_width"], numbers["upper_endplate_depth"]),
        lower=(numbers["lower_endplate_width"], numbers["lower_endplate_depth"]),
        heights=(numbers["anterior_height"], numbers["posterior_height"]),
        waist=0.13 if lumbar else 0.11,
        dishes=(1.4, 2.4 if lumbar else 1.7),
        wall=numbers.posterior_wall + hollow - (1.1 if lumbar else 0.5),
        hollow=hollow,
        power=2.15 if lumbar else 2.1,
        narrower_front=0.0 if lumbar else 0.08,
    )


def _canal(numbers):
    return canal_row(
        front=numbers.posterior_wall - 0.2,
        width=numbers["canal_width"],
        depth=numbers["canal_depth"] + 1.5,
        half_angle=radians(54.0),
    )


def _rows(numbers, edges, sound):
    # The canal is cut before the roof, which stays outside it by construction.
    foot = arch.pedicle_of(numbers)
    root = [
        *arch.pedicle_rows(numbers, foot),
        *arch.transverse_rows(numbers, foot),
        *arch.superior_rows(numbers, foot, edges=edges),
    ]
    roof = [*arch.roof_rows(numbers, foot, edges=edges, sound=sound)]
    processes, stand_ins = arch.inferior_rows(numbers, edges, sound=sound)
    spine = arch.spinous_row(numbers, edges)
    cuts = [row for cut in numbers.laminectomies for row in _cut(numbers, foot, cut)]
    hollows = arch.roof_hollows(numbers, sound)
    facets = costal_rows(numbers, foot)
    rows = [_body(numbers), *root, _canal(numbers), *roof, *hollows, *processes, spine, *facets, *cuts]
    both = stack(rows), stack([*stand_ins, *root, *roof, *processes, spine, *cuts])
    if numbers.asymmetry == 0.0:
        return both
    return tuple(with_unlike_sides(rows, amount=numbers.asymmetry, inner=foot.x) for rows in both)


def _cut(numbers, foot, cut):
    return laminectomy_rows(
        cut,
        medial=arch.roof_between_joints(numbers),
        # Beyond the joint, however thick it is: a sliver that stayed would be carved out of the bone below.
        lateral=arch.joint_below(numbers)
        + 5.0
        + 2.5 * numbers.inferior_hypertrophy
        + 1.5 * abs(numbers.asymmetry),
        roof_front=numbers.posterior_wall + 0.55 * numbers.canal_depth,
        facet_front=foot.back + 4.6,
        wall=numbers.posterior_wall + 1.5,
        pedicle_bottom=foot.z - 0.5 * numbers["pedicle_height"] - 2.0,
        # Lumbar ears stand further back than the cut: there it goes through.
        facet_top=TALL if numbers.lumbar_like else 0.5 * numbers.posterior_height,
    )


def _vertebra(numbers, edges, sound):
    rows, articular_rows = _rows(numbers, edges, sound)
    return VertebraShape(
        level=numbers.level,
        rows=rows,
        articular_rows=articular_rows,
        posterior_wall=numbers.posterior_wall,
        body_depth=numbers.body_depth,
        posterior_height=numbers.posterior_height,
        anterior_height=numbers.anterior_height,
        wedge=numbers.wedge,
        canal_depth=numbers.canal_depth,
        canal_width=numbers.canal_width,
        lamina=replace(edges, slant=SLANT * numbers.asymmetry),
        spinous_tip=arch.spinous_tip(numbers),
        window_half_width=numbers["window_half_width"],
        symmetric=numbers.asymmetry == 0.0 and all(cut.side == "both" for cut in numbers.laminectomies),
        spinous_lean=-LEAN * numbers.asymmetry,
    )


def _sacrum(parameters, size, edges):
    rows = sacrum_rows(
        size,
        width_scale=parameters.width_scale,
        hypertrophy=hypertrophy(parameters, f"{LEVELS[-1]}-{SACRUM}"),
        lumbarised=transition(parameters) == "lumbarised",
    )
    if parameters.asymmetry != 0.0:
        rows = with_unlike_sides(rows, amount=parameters.asymmetry, inner=SIDE_BEGINS)
    return VertebraShape(
        level=SACRUM,
        rows=rows,
        articular_rows=stack([]),
        posterior_wall=POSTERIOR_WALL,
        body_depth=endplate_chord(SACRUM),
        posterior_height=size["posterior_height"],
        anterior_height=size["anterior_height"],
        wedge=wedge(SACRUM),
        canal_depth=size["canal_depth"],
        canal_width=size["canal_width"],
        lamina=replace(edges, slant=SLANT * parameters.asymmetry),
        spinous_tip=first_tubercle_tip(),
        window_half_width=0.0,
        symmetric=parameters.asymmetry == 0.0,
    )


def shaping_poses():
    """Return {level: Pose} in which bones are shaped: the tabulated adult at rest, discs at full height."""
    return level_poses(SpineParameters())


def shape_column(parameters, *, corrections=None):
    """Return {level: VertebraShape} of T6..L5 and S1.

    Depends on the shape parameters alone (`meshes.parameters.SHAPE`): bones are shaped in the pose at rest
    and moved as they are, so in extreme poses neighbours can overlap. `corrections` as in
    `meshes.dimensions.dimensions`.

    Source
    ------
    Sizes: meshes/tables/vertebrae.csv. Corrections found by measuring the built bones: calibration.csv.
    """
    numbers, sacral = all_dimensions(parameters, corrections=corrections), sacral_dimensions(parameters)
    edges, sound = solve_laminae(numbers, shaping_poses(), sacrum=sacrum_edges(sacral))
    shapes = {level: _vertebra(numbers[level], edges[level], sound[level]) for level in LEVELS}
    shapes[SACRUM] = _sacrum(parameters, sacral, edges[SACRUM])
    return shapes


def neighbour_clearance(shapes, level, *, poses=None):
    """Return the `Clearance` that carving this bone needs, or None for the uppermost.

    Parameters
    ----------
    shapes : dict
        {level: VertebraShape} with this level and the one above.
    level : str
    poses : dict or None
        {level: Pose} at stature_scale 1 in which to carve; those in which bones are shaped if not given. Only
        poses without sideways tilt keep a bone even in x.
    """
    level = check_level(level)
    place = COLUMN.index(level)
    if place == 0:
        return None
    above = COLUMN[place - 1]
    poses = shaping_poses() if poses is None else poses
    relative = poses[above].inverse() @ poses[level]
    window = shapes[above].window_half_width
    return Clearance(
        rows=shapes[above].articular_rows,
        rotation=relative.rotation,
        translation=relative.translation,
        gap=JOINT_GAP,
        inner_limit=LUMBAR_INNER_LIMIT if is_lumbar(above) else window - 1.0,
    )
