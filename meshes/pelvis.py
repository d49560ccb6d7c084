"""Both iliac wings, rigid with the sacrum: enough of the pelvis to count levels and to square a picture.

Drawn, not measured, except for the breadth over the crests and the height of the crests at rest. Hip joints,
pubis and ischium are not modelled.
"""

import numpy as np
from scipy.interpolate import CubicSpline

from meshes.levels import SACRUM
from meshes.lofts import closed_loft
from meshes.tables.loader import number
from meshes.vertebra import shaping_poses

# Left wing in the patient's frame of the adult at rest: crest from the posterior to the anterior superior
# spine, and the lower border from the posterior inferior spine over the sciatic notch to the hip. [mm]
CREST = (
    (43.0, 61.0, -5.0),
    (52.0, 55.0, 16.0),
    (69.0, 39.0, 34.0),
    (93.0, 12.0, 42.5),
    (118.0, -18.0, 37.0),
    (135.0, -42.0, 20.0),
    (134.0, -62.0, -8.0),
    (122.0, -76.0, -37.0),
)
LOWER = (
    (41.0, 60.0, -30.0),
    (46.0, 47.0, -46.0),
    (58.0, 29.0, -51.0),
    (70.0, 8.0, -57.0),
    (82.0, -14.0, -71.0),
    (96.0, -34.0, -77.0),
    (105.0, -54.0, -74.0),
    (106.0, -67.0, -66.0),
)
OUTERMOST = 140.0  # [mm] what the drawing reaches sideways, before it is scaled to the table's breadth
BOW = 5.0  # [mm] how far the wing is hollow on its inside
THIN, CREST_SWELL, HIP_SWELL = 2.6, 3.6, 8.0  # [mm] half thickness of the wing, and what is added
STATIONS, HEIGHTS = 41, 15
CORE_INSET = 0.03  # share of length and height by which the spongy core falls short


def _mid_surface(along, up):
    """Return points (stations, heights, 3) of the middle of the left wing."""
    share = np.linspace(0.0, 1.0, len(CREST))
    crest, lower = (CubicSpline(share, np.array(line))(along) for line in (CREST, LOWER))
    points = lower[:, None] + up[None, :, None] * (crest - lower)[:, None]
    points[..., 0] += BOW * (4.0 * up * (1.0 - up))[None]
    return points


def _normals(points):
    along, up = np.gradient(points, axis=0), np.gradient(points, axis=1)
    normal = np.cross(along, up)
    return normal / np.linalg.norm(normal, axis=-1, keepdims=True)


def _half_thickness(along, up):
    """Return (stations, heights): thick along the crest and towards the hip, thin in the middle. [mm]"""
    hip = np.exp(-(((along - 0.75) / 0.25) ** 2))[:, None] * (1.0 - up)[None] ** 2
    return THIN + CREST_SWELL * up[None] ** 6 + HIP_SWELL * hip


def wing(*, inset=0.0):
    """Return the left iliac wing at rest, closed (vertices, faces), at stature 1 in the patient's frame.

    With an `inset` [mm], the surface that lies about that far inside.
    """
    margin = CORE_INSET if inset else 0.0
    along = np.linspace(margin, 1.0 - margin, STATIONS)
    turn = np.linspace(0.0, np.pi, HEIGHTS)
    up = margin + (1.0 - 2.0 * margin) * 0.5 * (1.0 - np.cos(turn))
    points = _mid_surface(along, up)
    # Borders are rounded, not sharp.
    rounding = np.sqrt(np.maximum(1.0 - np.abs(np.cos(turn)) ** 12, 0.06))
    half = np.maximum(_half_thickness(along, up) * rounding - inset, 0.3)
    offset = half[..., None] * _normals(points)
    rings = np.concatenate([points - offset, (points + offset)[:, ::-1]], axis=1)
    rings[..., 0] *= 0.5 * number("pelvis", "bicristal_breadth") / OUTERMOST
    return closed_loft(rings)


def _placed(anatomy, mesh, side):
    """Return a left mesh at rest as part of the patient: with the sacrum, in its size."""
    parameters = anatomy.parameters
    vertices, faces = mesh
    scale = parameters.stature_scale * np.array([side * parameters.width_scale, 1.0, 1.0])
    vertices = shaping_poses()[SACRUM].inverse().apply(vertices) * scale
    return anatomy.poses[SACRUM].apply(vertices), faces if side > 0 else faces[:, ::-1]


def pelvis_shells(anatomy):
    """Return {'ilium left': (outside, core), ...}, closed meshes in the patient's frame. [mm]

    Between outside and core lies the cortex.
    """
    pair = wing(), wing(inset=number("pelvis", "cortex"))
    return {
        f"ilium {name}": tuple(_placed(anatomy, mesh, side) for mesh in pair)
        for name, side in (("left", 1.0), ("right", -1.0))
    }


def pelvis_meshes(anatomy):
    """Return {'ilium left': (vertices, faces), 'ilium right': ...} in the patient's frame. [mm]"""
    outside = wing()
    return {
        f"ilium {name}": _placed(anatomy, outside, side) for name, side in (("left", 1.0), ("right", -1.0))
    }


def crest_line(anatomy):
    """Return the highest points (2, 3) of the iliac crests, left then right, in the patient's frame. [mm]"""
    wings = pelvis_meshes(anatomy).values()
    return np.array([vertices[np.argmax(vertices[:, 2])] for vertices, _ in wings])
