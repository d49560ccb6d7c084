"""Ribs 6 to 11, 12 or 13 as hollow swept tubes from their own vertebra. For pictures only: nothing collides.

Bony parts alone: cartilage and breastbone are not modelled, an X-ray of the column does not show them.
"""

import numpy as np
from scipy.interpolate import CubicSpline

from meshes.swept import swept_solid
from meshes.tables.loader import number

# By the number of pairs: the last rib belongs to T11, T12 or L1.
RIB_LEVELS = ("T6", "T7", "T8", "T9", "T10", "T11", "T12", "L1")
FIRST_NUMBER = 6
SIDES = 14
LEFT, RIGHT = 1.0, -1.0
# Rings stand closer from head to tubercle, where the section changes. [mm]
NEAR_RINGS, FAR_RINGS, BEYOND_TUBERCLE = 16, 24, 12.0
# Section: place [mm] from the head, the tubercle, the end; shares of the shaft's height and thickness.
HEAD = ((0.0, 0.45, 0.7), (1.5, 0.75, 1.15), (4.0, 0.8, 1.25), (9.0, 0.62, 0.8))
TUBERCLE = ((-7.0, 0.65, 0.85), (-1.0, 0.9, 1.3), (3.0, 0.95, 1.3), (10.0, 1.0, 1.0))
END = ((-15.0, 0.95, 1.0), (0.0, 0.6, 0.6))
# Where the shaft runs, from the tubercle: share of the way out to the side of the cage, mm back, mm up.
FULL = (
    (0.30, 9.0, -10.0),
    (0.72, -18.0, -32.0),
    (0.98, -70.0, -60.0),
    (0.80, -104.0, -86.0),
    (0.52, -116.0, -98.0),
)
ELEVENTH = ((0.30, 8.0, -14.0), (0.70, -14.0, -44.0), (0.92, -55.0, -72.0))
# A transverse process that reaches less far than this share of the table's has been cut away.
STILL_THERE = 0.7
# A thirteenth rib goes on from the transverse process of L1; share of the twelfth's reach and drop.
LUMBAR_RIB = 0.45


def rib_levels(pairs):
    """Return the levels that carry a rib, head to tail, of a column with 11, 12 or 13 pairs."""
    return RIB_LEVELS[: pairs - FIRST_NUMBER + 1]


def rib_number(level):
    """Return which rib, counted from the neck, belongs to a level: 12 for T12, 13 for L1."""
    return FIRST_NUMBER + RIB_LEVELS.index(level)


def rib_attachments(bone, *, side=LEFT, scale=1.0):
    """Return head and tubercle (3,), (3,) [mm] of a rib on the bone's own mesh, in its frame.

    The head lies on the side of the body at its posterior wall, the tubercle before the tip of the transverse
    process; a rib of L1 begins at that tip. The right side (`side` -1) is told mirrored to the left.
    """
    points, wall = bone.vertices * [side, 1.0, 1.0], bone.shape.posterior_wall * scale
    height = bone.shape.posterior_height * scale
    arch = points[points[:, 1] > wall + 3.0]
    usual = 0.5 * number("vertebrae", f"{bone.level}.transverse_span") * scale
    if len(arch) == 0 or arch[:, 0].max() < STILL_THERE * usual:
        # The process has been removed; muscle and ligaments hold the rib where it was.
        behind = number("vertebrae", f"{bone.level}.transverse_tip_behind") * scale
        up = 0.5 * height + number("vertebrae", f"{bone.level}.transverse_tip_height") * scale
        tip = np.array([usual, wall + behind, up])
    else:
        tip = arch[np.argmax(arch[:, 0])]
    before = np.array([-2.0, -0.5 * number("rib", "shaft_thickness") - 4.0, 1.0]) * scale
    if bone.level == "L1":
        return tip.copy(), tip + np.array([4.0, 0.0, 0.0]) * scale
    flank = (np.abs(points[:, 1] - wall + 4.0) < 3.0) & (np.abs(points[:, 2] - 0.25 * height) < 0.15 * height)
    head = np.array([points[flank, 0].max() + 1.0, wall - 4.0, 0.3 * height])
    return head, tip + before


def _knots(level, head, tubercle, scale):
    """Return points that the middle line runs through, head first."""
    reach, drop = (number("rib", f"T12.{name}") * scale for name in ("lateral_reach", "drop"))
    if level == "L1":
        ends = LUMBAR_RIB * np.array([[0.45 * reach, 4.0 * scale, -0.3 * drop], [reach, 0.0, -drop]])
        return np.vstack([head, head + ends])
    if level == "T12":
        return np.vstack(
            [head, head + [[0.45 * reach, 16.0 * scale, -0.33 * drop], [reach, 4.0 * scale, -drop]]]
        )
    out = number("rib", "cage_half_width") * scale - tubercle[0]
    shaft = tubercle + np.array(ELEVENTH if level == "T11" else FULL) * [out, scale, scale]
    return np.vstack([head, tubercle, shaft])


def rib_line(level, *, head, tubercle, scale=1.0):
    """Return the middle line (n, 3) [mm] of the left rib in its vertebra's frame, head first.

    Ribs 6 to 10 reach round to the front, 11 ends at the side, 12 is short and steep, 13 a stump.

    Raises
    ------
    ValueError
        If `level` carries no rib that is modelled.
    """
    if level not in RIB_LEVELS:
        raise ValueError(
            f"level must be one of {', '.join(RIB_LEVELS)}, got {level!r}: name one that can have a rib"
        )
    knots = _knots(level, head, tubercle, scale)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(knots, axis=0), axis=1))])
    near = min(along[1] + BEYOND_TUBERCLE * scale, 0.5 * along[-1])
    places = np.append(np.linspace(0.0, near, NEAR_RINGS), np.linspace(near, along[-1], FAR_RINGS)[1:])
    return CubicSpline(along, knots)(places)


def _section(line, tubercle, scale):
    """Return the half axes (n, 2) [mm] along a rib: round head, slim neck, thick tubercle, flat shaft."""
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))) / scale
    nearest = np.linalg.norm(line - tubercle, axis=1)
    places = [HEAD]
    # Twelfth ribs and lumbar ones reach no transverse process: head and shaft only.
    if nearest.min() < 3.0 * scale and along[nearest.argmin()] > HEAD[-1][0] - TUBERCLE[0][0]:
        places.append(np.array(TUBERCLE) + [along[nearest.argmin()], 0.0, 0.0])
    places = np.vstack([*places, np.array(END) + [along[-1], 0.0, 0.0]])
    half = 0.5 * scale * np.array([number("rib", "shaft_height"), number("rib", "shaft_thickness")])
    return half * np.stack([np.interp(along, places[:, 0], places[:, k]) for k in (1, 2)], axis=-1)


def rib_meshes(line, *, tubercle, scale=1.0):
    """Return the outside and the marrow of a rib along a middle line, each closed (vertices, faces).

    The section stands up along z of the line's frame; its thickness follows from the place of the tubercle.
    """
    outside, up, marrow = _section(line, tubercle, scale), np.array([0.0, 0.0, 1.0]), slice(1, -1)
    cortex = number("rib", "cortex") * scale
    return (
        swept_solid(line, half_axes=outside, sides=SIDES, up=up),
        swept_solid(line[marrow], half_axes=outside[marrow] - cortex, sides=SIDES, up=up),
    )


def one_rib(bone, *, side=LEFT, scale=1.0):
    """Return outside and marrow of a rib of a bone in its frame, each closed (vertices, faces)."""
    head, tubercle = rib_attachments(bone, side=side, scale=scale)
    line = rib_line(bone.level, head=head, tubercle=tubercle, scale=scale)
    pair = rib_meshes(line, tubercle=tubercle, scale=scale)
    return pair if side == LEFT else tuple(mirrored(mesh) for mesh in pair)


def rib_shells(anatomy):
    """Return {'rib 12 left': (outside, marrow), ...} in the patient's frame, each closed. [mm]"""
    scale, found = anatomy.parameters.stature_scale, {}
    for level in rib_levels(anatomy.parameters.rib_pairs):
        pose = anatomy.poses[level]
        for name, side in (("left", LEFT), ("right", RIGHT)):
            pair = one_rib(anatomy.bones[level], side=side, scale=scale)
            found[f"rib {rib_number(level)} {name}"] = tuple((pose.apply(v), f) for v, f in pair)
    return found


def mirrored(mesh):
    """Return (vertices, faces) mirrored to the other side of x = 0, still facing outward."""
    vertices, faces = mesh
    return vertices * [-1.0, 1.0, 1.0], faces[:, ::-1]
