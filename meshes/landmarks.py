"""Landmarks of a posed column as data in the patient's frame: what is counted, aimed at, drawn.

Everything is read off the bones as built, so that a removed part has no landmark: it is None, and a point of
several that are told together is nan.
"""

from dataclasses import dataclass

import numpy as np

from meshes.levels import COLUMN, LEVELS
from meshes.measure_bones import endplate_plane
from meshes.pelvis import crest_line
from meshes.rib import rib_attachments, rib_levels, rib_number
from meshes.sections import plane_section, sampled

# Lateral places of the lamina edges. [mm at stature 1]
LAMINA_X = np.array([-12.0, -8.0, -4.0, 0.0, 4.0, 8.0, 12.0])
# Where the laminae are cut for their ventral line. [mm at stature 1]
VENTRAL_LINE_X = 6.0
# A landmark farther than this from its bone has lost its bone. [mm]
GONE = 3.5
SIDES = (1.0, -1.0)
PEDICLE_PLANES = np.arange(1.0, 8.5, 1.0)
PEDICLE_FROM_MIDLINE = 5.0
PEDICLE_WAIST = 2.5
LEAST_PEDICLE = 6.0


@dataclass(frozen=True, eq=False)
class LevelLandmarks:
    """Landmarks of one bone in the patient's frame. [mm]

    Parameters
    ----------
    level : str
    body_centre : (3,) float
    upper_endplate, lower_endplate : ((3,), (3,)) float
        Centre of the plate and unit normal, both normals cranial; of S1 the lower one is nan.
    pedicle_centres : (2, 3) float
        Middle of the isthmus, left then right; nan where one has been removed, and for S1, whose pedicles are
        not set off.
    spinous_tip : (3,) float or None
        None where it has been removed.
    lamina_top, lamina_bottom : (7, 3) float or None
        Points of the rim at LAMINA_X, right to left, nan where bone has been removed; None without any.
    """

    level: str
    body_centre: np.ndarray
    upper_endplate: tuple
    lower_endplate: tuple
    pedicle_centres: np.ndarray
    spinous_tip: np.ndarray | None
    lamina_top: np.ndarray | None
    lamina_bottom: np.ndarray | None


@dataclass(frozen=True, eq=False)
class Landmarks:
    """Landmarks of a column in the patient's frame. [mm]

    Parameters
    ----------
    levels : dict
        {level: LevelLandmarks}, head to tail.
    ventral_interlaminar_line : dict
        {'left', 'right': (n, 3)}: the ventral rims of the laminae 6 mm beside the midline, caudal to cranial,
        cranial and caudal edge of each. In front of it a needle is in the canal: the line that a
        contralateral oblique picture shows.
    rib_heads : dict
        {'rib 12 left': (3,), ...}
    iliac_crest_line : (2, 3) float
        Highest points of the crests, left then right.
    crest_level : str
        The body or interspace that this line crosses, 'L4' or 'L4-L5'.
    """

    levels: dict
    ventral_interlaminar_line: dict
    rib_heads: dict
    iliac_crest_line: np.ndarray
    crest_level: str


def pedicle_centres(bone, *, scale=1.0):
    """Return the middles (2, 3) of both pedicles at their narrowest, left then right, in the bone's frame.

    nan where a pedicle is missing, and for the sacrum. `scale` is the stature scale.
    """
    if bone.level not in LEVELS:
        return np.full((2, 3), np.nan)
    planes = bone.shape.posterior_wall * scale + PEDICLE_PLANES * scale
    sections = [sampled(plane_section(bone.vertices, bone.faces, axis=1, at=y)) for y in planes]
    return np.array([_narrowest(planes, sections, side, scale=scale) for side in SIDES])


def _narrowest(planes, sections, side, *, scale):
    """Return the middle (3,) of the smallest outline that is a pedicle's, nan if there is none."""
    best, middle = np.inf, np.full(3, np.nan)
    for y, section in zip(planes, sections):
        outline = section[side * section[:, 0] > PEDICLE_FROM_MIDLINE * scale]
        if len(outline) == 0:
            continue
        low, high = outline[:, 1].min(), outline[:, 1].max()
        waist = outline[np.abs(outline[:, 1] - np.median(outline[:, 1])) < PEDICLE_WAIST * scale]
        width = np.ptp(waist[:, 0])
        size = width * (high - low)
        if LEAST_PEDICLE * scale < high - low and width > 0.0 and size < best:
            best, middle = (
                size,
                np.array([0.5 * (waist[:, 0].min() + waist[:, 0].max()), y, 0.5 * (low + high)]),
            )
    return middle


def _kept(points, bone, pose):
    """Return points (n, 3) of a bone's frame in the patient's, nan where there is no bone near them."""
    gone = np.abs(bone.grid.at(points)) > GONE
    return np.where(gone[:, None], np.nan, pose.apply(points))


def _or_none(points):
    """Return points (n, 3), or None if all of them are nan."""
    return None if np.isnan(points).all() else points


def _rim(edges, x, *, top, scale):
    """Return points (n, 3) of the rim of a lamina in the bone's frame."""
    (y, z), sign = (edges.top(x), 1.0) if top else (edges.bottom(x), -1.0)
    z = z + sign * (edges.top_radius if top else edges.bottom_radius)
    return scale * np.stack([x, y, z], axis=-1)


def _ventral(edges, x, *, top, scale):
    y, z = edges.top(x) if top else edges.bottom(x)
    radius = edges.top_radius if top else edges.bottom_radius
    return scale * np.array([[x, y - radius, z]], float)


def _level(anatomy, level):
    bone, pose, scale = anatomy.bones[level], anatomy.poses[level], anatomy.parameters.stature_scale
    plates = []
    for upper in (True, False):
        if level not in LEVELS and not upper:
            plates.append((np.full(3, np.nan), np.full(3, np.nan)))
            continue
        centre, normal = endplate_plane(bone, upper=upper, scale=scale)
        plates.append((pose.apply(centre), pose.turn(normal)))
    tip = _or_none(_kept(scale * np.array([[bone.shape.spinous_lean, *bone.shape.spinous_tip]]), bone, pose))
    edges = bone.shape.lamina
    return LevelLandmarks(
        level,
        pose.translation.copy(),
        *plates,
        pose.apply(pedicle_centres(bone, scale=scale)),
        None if tip is None else tip[0],
        *(_or_none(_kept(_rim(edges, LAMINA_X, top=top, scale=scale), bone, pose)) for top in (True, False)),
    )


def ventral_line(anatomy, side):
    """Return the ventral rims (n, 3) of the laminae beside the midline on one side, caudal to cranial. [mm]

    Laminae that have been removed are left out.
    """
    scale, points = anatomy.parameters.stature_scale, []
    x = VENTRAL_LINE_X if side == "left" else -VENTRAL_LINE_X
    for level in COLUMN[::-1]:
        bone, pose = anatomy.bones[level], anatomy.poses[level]
        for top in (False, True):
            points.append(_kept(_ventral(bone.shape.lamina, x, top=top, scale=scale), bone, pose)[0])
    points = np.array(points)
    return points[~np.isnan(points[:, 0])]


def rib_heads(anatomy):
    """Return {'rib 12 left': (3,), ...}: where the head of each rib meets its body. [mm]"""
    scale, found = anatomy.parameters.stature_scale, {}
    for level in rib_levels(anatomy.parameters.rib_pairs):
        for side, sign in zip(("left", "right"), SIDES):
            head, _ = rib_attachments(anatomy.bones[level], side=sign, scale=scale)
            found[f"rib {rib_number(level)} {side}"] = anatomy.poses[level].apply(head * [sign, 1.0, 1.0])
    return found


def crossed_level(levels, height):
    """Return the body or interspace at the height z of the patient's frame, by the middles of the plates.

    `levels` is {level: LevelLandmarks}, head to tail. Above the top body it is that body, below the lowest
    plate the lowest one.
    """
    names = list(levels)
    for above, level in zip((None, *names), names):
        if height > levels[level].upper_endplate[0][2]:
            return f"{above}-{level}" if above else level
        if height > levels[level].lower_endplate[0][2]:
            return level
    return names[-1]


def landmarks(anatomy):
    """Return the Landmarks of a posed anatomy."""
    levels = {level: _level(anatomy, level) for level in COLUMN}
    crests = crest_line(anatomy)
    return Landmarks(
        levels=levels,
        ventral_interlaminar_line={side: ventral_line(anatomy, side) for side in ("left", "right")},
        rib_heads=rib_heads(anatomy),
        iliac_crest_line=crests,
        crest_level=crossed_level(levels, float(crests[:, 2].mean())),
    )
