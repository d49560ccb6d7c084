"""Supraspinous and interspinous ligaments as closed meshes; calcified ones are asked by the needle.

The interspinous ligament fills the space between two spinous processes in their midplane, from the
ligamentum flavum to the tips; the supraspinous ligament is a strap over the tips, T6 to L5.
"""

from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter1d

from meshes.back_profile import spinous_tips
from meshes.findings import Laminectomy, LigamentCalcification, of_kind
from meshes.flavum import closed_plate
from meshes.frames import unit
from meshes.levels import LEVELS, split_interspace
from meshes.lofts import closed_loft
from meshes.tables.loader import number

COLUMNS, ROWS = 17, 9  # from the flavum to the tips, and across the gap
FROM_FLAVUM, TO_TIPS = 1.0, 0.5  # [mm] left free of the flavum, and short of the line of the tips
HOLD = 0.3  # [mm] by which a ligament enters the bone it holds on to
TOUCH = 0.05  # [mm]
MARCHES = 14
LONGEST = 14.0  # [mm] from the middle to either bone
THINNEST_GAP = 0.4  # [mm]
SEARCH = np.linspace(-7.0, 7.0, 29)  # [mm] along the column, for the middle of the room between two processes
LEAST_ROOM = 3.0  # [mm] to either process, at which the straight line is left alone
HALVINGS = 8
THINNEST = 0.12  # share of its thickness that a ligament keeps between processes that touch
STRAP_AROUND, STRAP_STEP = 16, 3.0


def processless(findings):
    """Return the levels whose spinous process has been removed."""
    return {cut.level for cut in of_kind(findings, Laminectomy) if cut.side == "both"}


def _tip(anatomy, level):
    scale, shape = anatomy.parameters.stature_scale, anatomy.bones[level].shape
    return anatomy.poses[level].apply(scale * np.array([shape.spinous_lean, *shape.spinous_tip]))


def _middle_line(anatomy, mark):
    """Return points (columns, 3) from behind the flavum to half way between the tips, and their midplane."""
    canal = anatomy.canal
    back = canal.radii(mark.middle, 0.0)[3] + np.interp(mark.middle, canal.u, canal.flavum_thickness)
    start = canal.to_world(mark.middle, 0.0, back + FROM_FLAVUM)
    upper, lower = _tip(anatomy, mark.upper), _tip(anatomy, mark.lower)
    end = 0.5 * (upper + lower)
    outward = unit(end - start)
    left = anatomy.poses[mark.upper].rotation[:, 0] + anatomy.poses[mark.lower].rotation[:, 0]
    left = unit(left - (left @ outward) * outward)
    line = start + np.linspace(0.0, 1.0, COLUMNS)[:, None] * (end - TO_TIPS * outward - start)
    # Cranial in the midplane: left x outward points up, as left x dorsal does.
    up = np.cross(left, outward)
    return _roomiest(anatomy.packed.only([mark.upper, mark.lower]), line, up), left, up


def _roomiest(packed, line, up):
    """Return `line` (columns, 3) moved along `up` to where there is most room, smoothly."""
    room = packed.nearest(line[:, None] + SEARCH[None, :, None] * up) - 0.02 * np.abs(SEARCH)
    # Where there is room enough the straight line stays.
    best = np.where(room.max(axis=1) < LEAST_ROOM, SEARCH[np.argmax(room, axis=1)], 0.0)
    near = packed.nearest(line) > LEAST_ROOM
    return line + gaussian_filter1d(np.where(near, 0.0, best), 0.7, mode="nearest")[:, None] * up


def _out_of_bone(packed, points, inner):
    """Return points (..., 3) drawn toward `inner` (..., 3) until they enter bone by HOLD at most."""
    deep = packed.nearest(points) < -HOLD
    low, high = np.zeros(deep.shape), np.ones(deep.shape)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        free = packed.nearest(inner + middle[..., None] * (points - inner)) >= -HOLD
        low, high = np.where(free, middle, low), np.where(free, high, middle)
    share = np.where(deep, np.maximum(low, THINNEST), 1.0)
    return inner + share[..., None] * (points - inner)


def _edge(packed, line, toward):
    """Return points (columns, 3) where lines from `line` along `toward` come to bone."""
    travelled = np.zeros(len(line))
    for _ in range(MARCHES):
        room = packed.nearest(line + travelled[:, None] * toward) - TOUCH
        travelled = np.minimum(travelled + np.maximum(room, 0.0), LONGEST)
    return line + (travelled + HOLD)[:, None] * toward


def interspinous_ligament(anatomy, interspace):
    """Return vertices, faces of the ligament between two spinous processes, closed, outward. [mm]

    The thickness is that of the table at the tips and less toward the flavum. Between processes that lie on
    each other it is a film.

    Raises
    ------
    ValueError
        If the chart of the canal does not cover the interspace.
    """
    mark = anatomy.canal.interspace(interspace)
    line, left, up = _middle_line(anatomy, mark)
    upper = _edge(anatomy.packed.only([mark.upper]), line, up)
    lower = _edge(anatomy.packed.only([mark.lower]), line, -up)
    short = np.linalg.norm(upper - lower, axis=1) < THINNEST_GAP
    upper[short] += 0.5 * THINNEST_GAP * up
    lower[short] -= 0.5 * THINNEST_GAP * up
    share = np.linspace(0.0, 1.0, ROWS)[:, None, None]
    sheet = lower[None] * (1.0 - share) + upper[None] * share
    half = 0.5 * anatomy.parameters.stature_scale * number("ligaments", "interspinous.thickness")
    half = half * (0.6 + 0.4 * np.linspace(0.0, 1.0, COLUMNS))[None, :, None]
    facing = anatomy.packed.only([mark.upper, mark.lower])
    return closed_plate(
        *(_out_of_bone(facing, sheet + side * half * left, line[None]) for side in (1.0, -1.0))
    )


def supraspinous_strap(anatomy, first=0, last=None):
    """Return vertices, faces of the strap over the tips of some of LEVELS, caudal to cranial, closed. [mm]

    It bridges the levels whose spinous process is gone.
    """
    gone, scale = processless(anatomy.parameters.findings), anatomy.parameters.stature_scale
    levels = [level for level in LEVELS[::-1][first:last] if level not in gone]
    poses = anatomy.poses
    tips = spinous_tips({n: anatomy.bones[n] for n in levels}, poses, stature_scale=scale)
    chord = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(tips, axis=0), axis=1))])
    along = np.linspace(0.0, chord[-1], max(int(chord[-1] / STRAP_STEP), 2) + 1)
    centre = np.column_stack([np.interp(along, chord, tips[:, k]) for k in range(3)])
    tangent = unit(np.gradient(centre, axis=0))
    left = np.array([poses[n].rotation[:, 0] for n in levels])
    left = np.column_stack([np.interp(along, chord, left[:, k]) for k in range(3)])
    left = unit(left - np.sum(left * tangent, axis=1, keepdims=True) * tangent)
    back = np.cross(tangent, left)
    wide, thick = (0.5 * scale * number("ligaments", f"supraspinous.{key}") for key in ("width", "thickness"))
    angle = np.linspace(0.0, 2.0 * np.pi, STRAP_AROUND, endpoint=False)[:, None]
    # Counter-clockwise seen from the head, where left x dorsal would run the other way.
    ring = wide * np.cos(angle) * left[:, None] - thick * np.sin(angle) * back[:, None]
    return closed_loft(centre[:, None] + thick * back[:, None] + ring[:, ::-1])


def ligament_meshes(anatomy):
    """Return {name: (vertices, faces)}: "supraspinous ligament" and one "T12-L1 interspinous ligament" each.

    No interspinous ligament is left where a laminectomy has taken a spinous process.
    """
    gone = processless(anatomy.parameters.findings)
    meshes = {"supraspinous ligament": supraspinous_strap(anatomy)}
    for name, mark in anatomy.canal.interspaces.items():
        if not gone & {mark.upper, mark.lower}:
            meshes[f"{name} interspinous ligament"] = interspinous_ligament(anatomy, name)
    return meshes


@lru_cache(maxsize=2)
def calcified_ligaments(anatomy):
    """Return {(interspace, words): (vertices, faces)} of the ligaments that stop a needle like bone."""
    meshes, gone = {}, processless(anatomy.parameters.findings)
    for finding in of_kind(anatomy.parameters.findings, LigamentCalcification):
        name = finding.interspace
        if name not in anatomy.canal.interspaces or gone & set(name.split("-")):
            continue
        meshes[name, "interspinous"] = interspinous_ligament(anatomy, name)
        lower = split_interspace(name)[1]
        # The strap over the tips ends at L5.
        if lower in LEVELS:
            row = LEVELS[::-1].index(lower)
            meshes[name, "supraspinous"] = supraspinous_strap(anatomy, row, row + 2)
    return meshes
