"""The slope of a lamina, measured on the bone: the angle at which an oblique picture shows it on end.

Turning the detector away from the needle's side lets the beam run along the lamina on the needle's own side:
for a needle from the patient's left, toward the patient's right.
"""

import math

import numpy as np

# Where the ventral face is touched: shares of half the canal's width from the midline, and of the way from
# the lower to the upper rim. Nearer to the midline both laminae round off into each other.
PLACES = np.linspace(0.3, 0.85, 7)
SHARES = np.linspace(0.3, 0.7, 5)
NEAR, STEPS, LEAST_POINTS = 0.02, 60, 20
SIDES = {"left": 1.0, "right": -1.0}


def side_sign(side):
    """Return +1 for the patient's left, -1 for the right; raises ValueError for anything else."""
    if side not in SIDES:
        raise ValueError(
            f"side must be left or right, got {side!r}: name the side that the needle comes from"
        )
    return SIDES[side]


def ventral_face(bone, side, *, scale=1.0):
    """Return points (n, 3) on the ventral face of one lamina, in the bone's frame; none where it is gone.

    In mm. Each is met from the middle of the canal, straight back.
    """
    edges = bone.shape.lamina
    x, share = (v.ravel() for v in np.meshgrid(0.5 * bone.shape.canal_width * PLACES, SHARES))
    (_, top), (_, bottom) = edges.top(x), edges.bottom(x)
    start = bone.shape.posterior_wall + 0.5 * bone.shape.canal_depth
    points = scale * np.column_stack(
        [side_sign(side) * x, np.full(x.size, start), bottom + share * (top - bottom)]
    )
    travelled = np.zeros(len(points))
    for _ in range(STEPS):
        room = bone.grid.at(points + np.outer(travelled, [0.0, 1.0, 0.0]))
        travelled += np.maximum(room, 0.0)
    met = (np.abs(room) < NEAR) & (travelled > 0.0) & (travelled < scale * bone.shape.canal_depth)
    return (points + np.outer(travelled, [0.0, 1.0, 0.0]))[met]


def lamina_normal(anatomy, level, *, side):
    """Return the unit normal (3,) of the plane through a lamina's ventral face, pointing back.

    Raises
    ------
    ValueError
        If that lamina has been removed.
    """
    bone = anatomy.bones[level]
    points = ventral_face(bone, side, scale=anatomy.parameters.stature_scale)
    if len(points) < LEAST_POINTS:
        raise ValueError(
            f"level must have its {side} lamina, got {level} without it: take the level above or below"
        )
    normal = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][2]
    return anatomy.poses[level].turn(normal * np.sign(normal[1]))


def lamina_angle(anatomy, level, *, side, tilt=0.0):
    """Return the orbit of the C-arm [rad] at which the lamina on the needle's side is seen on end.

    Positive for a needle from the left: the detector swings toward the patient's right. Closed form for the
    middle ray at a given tilt; the lamina counts as plane.

    Raises
    ------
    ValueError
        If that lamina has been removed, or no orbit shows it on end at this tilt.
    """
    x, y, z = lamina_normal(anatomy, level, side=side)
    share = -z * math.tan(tilt) / math.hypot(x, y)
    if abs(share) > 1.0:
        raise ValueError(f"tilt must let the beam run along the lamina, got {tilt:.3g} rad: tilt less")
    return side_sign(side) * math.acos(share) - math.atan2(x, y)
