"""Ribs 6 to 12 as hollow swept tubes from their own vertebra. For pictures only: nothing collides."""

import numpy as np
from scipy.interpolate import CubicSpline

from meshes.swept import swept_solid
from meshes.tables.loader import number

RIB_LEVELS = ("T6", "T7", "T8", "T9", "T10", "T11", "T12")
RINGS = 30
SIDES = 14
# Where the shaft runs, from the tubercle: share of the way out to the side of the cage, mm back, mm up.
FULL = (
    (0.30, 9.0, -10.0),
    (0.72, -18.0, -32.0),
    (0.98, -70.0, -60.0),
    (0.80, -104.0, -86.0),
    (0.52, -116.0, -98.0),
)
ELEVENTH = ((0.30, 8.0, -14.0), (0.70, -14.0, -44.0), (0.92, -55.0, -72.0))


def rib_attachments(bone, *, scale=1.0):
    """Return head and tubercle (3,), (3,) [mm] of the left rib on the bone's own mesh, in its frame.

    The head lies on the side of the body at its posterior wall, the tubercle before the tip of the transverse
    process. `scale` is the stature scale.
    """
    points, wall = bone.vertices, bone.shape.posterior_wall * scale
    height = bone.shape.posterior_height * scale
    side = (np.abs(points[:, 1] - wall + 4.0) < 3.0) & (np.abs(points[:, 2] - 0.25 * height) < 0.15 * height)
    head = np.array([points[side, 0].max() + 1.0, wall - 4.0, 0.3 * height])
    arch = points[points[:, 1] > wall + 3.0]
    tip = arch[np.argmax(arch[:, 0])]
    before = np.array([-2.0, -0.5 * number("rib", "shaft_thickness") - 4.0, 1.0]) * scale
    return head, tip + before


def rib_line(level, *, head, tubercle, scale=1.0):
    """Return the middle line (n, 3) [mm] of the left rib in its vertebra's frame, head first.

    Ribs 6 to 10 reach round to the front, 11 ends at the side, 12 is short and steep.

    Raises
    ------
    ValueError
        If `level` carries no rib that is modelled.
    """
    if level not in RIB_LEVELS:
        raise ValueError(
            f"level must be one of {', '.join(RIB_LEVELS)}, got {level!r}: name one that has a rib"
        )
    if level == "T12":
        reach, drop = number("rib", "T12.lateral_reach") * scale, number("rib", "T12.drop") * scale
        shares = np.array([[0.45, 16.0 * scale, -0.33 * drop], [1.0, 4.0 * scale, -drop]])
        shaft = head + shares * [reach, 1.0, 1.0]
        knots = np.vstack([head, shaft])
    else:
        out = number("rib", "cage_half_width") * scale - tubercle[0]
        shaft = tubercle + np.array(ELEVENTH if level == "T11" else FULL) * [out, scale, scale]
        knots = np.vstack([head, tubercle, shaft])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(knots, axis=0), axis=1))])
    return CubicSpline(along, knots)(np.linspace(0.0, along[-1], RINGS))


def rib_meshes(level, line, *, scale=1.0):
    """Return the outside and the marrow of a rib along a middle line, each closed (vertices, faces).

    Head and neck are slimmer than the shaft. Turn the line first: the section stands up along z.
    """
    half = 0.5 * scale * np.array([number("rib", "shaft_height"), number("rib", "shaft_thickness")])
    cortex = number("rib", "cortex") * scale
    share = np.linspace(0.0, 1.0, len(line))
    neck = 0.16 if level != "T12" else 0.3
    size = np.interp(share, [0.0, 0.5 * neck, 1.6 * neck, 0.9, 1.0], [0.55, 0.6, 1.0, 0.95, 0.6])
    outside = size[:, None] * half
    up = np.array([0.0, 0.0, 1.0])
    marrow = slice(1, -1)
    return (
        swept_solid(line, half_axes=outside, sides=SIDES, up=up),
        swept_solid(line[marrow], half_axes=outside[marrow] - cortex, sides=SIDES, up=up),
    )


def mirrored(mesh):
    """Return (vertices, faces) mirrored to the other side of x = 0, still facing outward."""
    vertices, faces = mesh
    return vertices * [-1.0, 1.0, 1.0], faces[:, ::-1]
