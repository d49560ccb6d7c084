"""Sizes and Cobb angles of the bones as built, measured on their meshes."""

from dataclasses import dataclass

import numpy as np

from meshes.levels import LEVELS
from meshes.sections import line_crossings, plane_section, sampled

# Shares and distances of the measuring method; a section is never taken where pedicle blends would enter.
ENDPLATE_SHARE = 0.6
# The hollow of an endplate is deepest a little behind the middle of the body; a patch beside it would tilt.
HOLLOW_BEHIND_MIDDLE = 0.03
STEEPEST_FACET = 0.8
RIM_DEPTHS = (1.0, 2.0, 3.0)
BODY_BEHIND_MIDDLE = 0.35
CANAL_WIDTH_PLANE = 5.5
CANAL_AXIS_PLANE = 4.0
PEDICLE_PLANES = np.arange(2.0, 9.0, 0.5)
PEDICLE_FROM_MIDLINE = 5.0
PEDICLE_WAIST = 2.5
HEIGHT_STEP = 0.5
OFF_MIDLINE = 0.2


@dataclass(frozen=True)
class CobbAngles:
    """Angles between endplates of the built, posed bones, each seen along the axis that defines it. [rad]

    Parameters
    ----------
    lumbar_lordosis : float
        L1 upper to S1 upper plate, seen from the side.
    thoracic_kyphosis : float
        T6 upper to T12 lower plate, seen from the side; positive = kyphotic.
    scoliosis : float
        Upper plate of the upper to lower plate of the lower end vertebra, seen from the front; positive =
        convex to the patient's left.
    """

    lumbar_lordosis: float
    thoracic_kyphosis: float
    scoliosis: float


@dataclass(frozen=True)
class BoneDimensions:
    """Sizes of one vertebra as built. [mm]

    Endplate depths and body heights are distances of the rounded corners of the midsagittal outline, so
    they run 0.2-1 mm short of the sharp corner. Canal width and depth are the least ones of the ring.
    """

    level: str
    upper_endplate_width: float
    upper_endplate_depth: float
    lower_endplate_width: float
    lower_endplate_depth: float
    posterior_height: float
    anterior_height: float
    canal_width: float
    canal_depth: float
    pedicle_width: float
    pedicle_height: float
    transverse_span: float


def endplate_plane(bone, *, upper, scale=1.0):
    """Return (centre, cranial normal) of an endplate in the bone's frame.

    A plane is fitted to the facets of the inner 60 % of the plate, each weighted by its area.

    Parameters
    ----------
    bone : Bone
    upper : bool
        The cranial plate, else the caudal one.
    scale : float
        Stature scale of the bone.
    """
    corners = np.asarray(bone.vertices, float)[bone.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1)
    centres = corners.mean(axis=1)
    side = 1.0 if upper else -1.0
    depth = bone.shape.body_depth * scale
    from_hollow = np.hypot(centres[:, 0], centres[:, 1] - HOLLOW_BEHIND_MIDDLE * depth)
    inner = from_hollow < 0.5 * ENDPLATE_SHARE * depth
    facing = side * cross[:, 2] > STEEPEST_FACET * area
    chosen = inner & facing & (side * centres[:, 2] > 0.0)
    weight = area[chosen] / area[chosen].sum()
    centre = weight @ centres[chosen]
    spread = (centres[chosen] - centre) * np.sqrt(weight)[:, None]
    normal = np.linalg.svd(spread, full_matrices=False)[2][2]
    return centre, normal * np.sign(normal[2])


def _posed_normal(anatomy, level, *, upper):
    scale = anatomy.parameters.stature_scale
    return anatomy.poses[level].turn(endplate_plane(anatomy.bones[level], upper=upper, scale=scale)[1])


def measure_cobb(anatomy):
    """Return the CobbAngles of a built, posed anatomy."""

    def tilt(level, *, upper, axis):
        normal = _posed_normal(anatomy, level, upper=upper)
        return np.arctan2(normal[axis], normal[2])

    parameters = anatomy.parameters
    lordosis = tilt("L1", upper=True, axis=1) - tilt("S1", upper=True, axis=1)
    kyphosis = tilt("T12", upper=False, axis=1) - tilt("T6", upper=True, axis=1)
    bottom = tilt(parameters.curve_bottom, upper=False, axis=0)
    coronal = bottom - tilt(parameters.curve_top, upper=True, axis=0)
    return CobbAngles(float(lordosis), float(kyphosis), float(coronal))


def _body_corners(bone, *, wall):
    """Return {(anterior or posterior, upper or lower): (y, z)} of the midsagittal outline of the body."""
    points = sampled(plane_section(bone.vertices, bone.faces, axis=0, at=0.0))
    points = points[points[:, 0] < wall + CANAL_AXIS_PLANE]
    signs = [(y, z) for y in (-1, 1) for z in (1, -1)]
    return {(y, z): points[np.argmax(points @ [y, 1.2 * z])] for y, z in signs}


def _body_width(bone, height, *, wall, depth):
    points = sampled(plane_section(bone.vertices, bone.faces, axis=2, at=height))
    return np.ptp(points[points[:, 1] < wall - BODY_BEHIND_MIDDLE * depth, 0])


def _gap_about(crossings, place):
    """Return the distance of the nearest crossings on both sides of `place`, nan if one is missing."""
    above, below = crossings[crossings > place], crossings[crossings < place]
    return above[0] - below[-1] if len(above) and len(below) else np.nan


def _canal(bone, *, wall, height):
    """Return the least (width, depth) of the bony ring; nan where a laminectomy has opened it."""
    levels = np.arange(-height, 0.5 * height, HEIGHT_STEP)
    # A little off the midline, where a perfectly symmetric mesh has its edges.
    sagittal = plane_section(bone.vertices, bone.faces, axis=0, at=OFF_MIDLINE)
    coronal = plane_section(bone.vertices, bone.faces, axis=1, at=wall + CANAL_WIDTH_PLANE)
    depths = [_gap_about(line_crossings(sagittal, axis=1, at=z), wall + CANAL_AXIS_PLANE) for z in levels]
    widths = [_gap_about(line_crossings(coronal, axis=1, at=z), 0.0) for z in levels]
    return tuple(np.nanmin(found) if np.isfinite(found).any() else np.nan for found in (widths, depths))


def _pedicle_section(bone, y, *, low, high):
    """Return (height, waist width) of the pedicles in a coronal plane, mean of both; nan if not met."""
    points = sampled(plane_section(bone.vertices, bone.faces, axis=1, at=y))
    points = points[(points[:, 1] > low) & (points[:, 1] < high)]
    found = []
    for side in (1.0, -1.0):
        one = points[side * points[:, 0] > PEDICLE_FROM_MIDLINE]
        if len(one) == 0:
            return np.nan, np.nan
        waist = one[np.abs(one[:, 1] - np.median(one[:, 1])) < PEDICLE_WAIST]
        found.append((np.ptp(one[:, 1]), np.ptp(waist[:, 0])))
    return tuple(np.mean(found, axis=0))


def measure_bone(bone, *, scale=1.0):
    """Return the BoneDimensions of a vertebra T6-L5 as built.

    Parameters
    ----------
    bone : Bone
        In its own frame, scaled by the stature.
    scale : float
        That stature scale.
    """
    wall, depth = bone.shape.posterior_wall * scale, bone.shape.body_depth * scale
    corner = _body_corners(bone, wall=wall)
    top = 0.5 * (corner[-1, 1] + corner[1, 1])[1]
    bottom = 0.5 * (corner[-1, -1] + corner[1, -1])[1]
    canal_width, canal_depth = _canal(bone, wall=wall, height=bone.shape.posterior_height * scale)
    pedicles = [_pedicle_section(bone, wall + y, low=bottom - 2.0, high=top + 4.0) for y in PEDICLE_PLANES]
    pedicle_height, pedicle_width = pedicles[int(np.nanargmin([height for height, _ in pedicles]))]

    def width(height):
        return _body_width(bone, height, wall=wall, depth=depth)

    def between(first, second):
        return float(np.linalg.norm(corner[first] - corner[second]))

    return BoneDimensions(
        level=bone.level,
        upper_endplate_width=float(max(width(top - k) for k in RIM_DEPTHS)),
        upper_endplate_depth=between((-1, 1), (1, 1)),
        lower_endplate_width=float(max(width(bottom + k) for k in RIM_DEPTHS)),
        lower_endplate_depth=between((-1, -1), (1, -1)),
        posterior_height=between((1, 1), (1, -1)),
        anterior_height=between((-1, 1), (-1, -1)),
        canal_width=float(canal_width),
        canal_depth=float(canal_depth),
        pedicle_width=float(pedicle_width),
        pedicle_height=float(pedicle_height),
        transverse_span=float(np.ptp(bone.vertices[:, 0])),
    )


def measure_bones(anatomy):
    """Return {level: BoneDimensions} of T6-L5, head to tail."""
    scale = anatomy.parameters.stature_scale
    return {level: measure_bone(anatomy.bones[level], scale=scale) for level in LEVELS}
