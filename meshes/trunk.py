"""The skin of the trunk as one closed surface: the back from the soft tissue, sides and belly drawn."""

import numpy as np
from scipy.interpolate import PchipInterpolator

from meshes.lofts import closed_loft
from meshes.tables.loader import number

RINGS = 8.0  # [mm] between rings
ACROSS = 49  # points of a ring on the back
AROUND = 31  # points of a ring on the belly
# Heights where the half width is known: seat, hips, waist, chest, shoulder blades. [mm at stature 1]
WIDTH_HEIGHTS = (-150.0, -85.0, 95.0, 240.0, 400.0)
BELLY_SQUARENESS = 0.8


def half_width(z, *, fat, scale):
    """Return the half width of the trunk at heights z: hips, waist and chest. [mm]"""
    chest, waist, hip = (number("soft_tissue", f"{part}_half_width") for part in ("chest", "waist", "hip"))
    curve = PchipInterpolator(WIDTH_HEIGHTS, (hip, hip, waist, chest, chest))
    inside = np.clip(np.asarray(z, float) / scale, WIDTH_HEIGHTS[0], WIDTH_HEIGHTS[-1])
    fatter = number("soft_tissue", "width_with_fat") * (fat - number("soft_tissue", "ordinary_fat"))
    return scale * curve(inside) + fatter


def _ring(tissue, z, half):
    """Return one closed ring (ACROSS + AROUND, 3) of the trunk, left to right over the back."""
    middle = float(tissue.midline(z))
    x = middle + half * np.cos(np.linspace(0.0, np.pi, ACROSS))
    back = np.column_stack([x, tissue.skin(x, z), np.full(ACROSS, z)])
    side = 0.5 * (back[0, 1] + back[-1, 1])
    front = -number("soft_tissue", "trunk_front") - tissue.fat
    turn = np.linspace(np.pi, 2.0 * np.pi, AROUND + 2)[1:-1]
    depth = np.abs(np.sin(turn)) ** BELLY_SQUARENESS
    belly_x = middle + half * np.sign(np.cos(turn)) * np.abs(np.cos(turn)) ** BELLY_SQUARENESS
    belly = np.column_stack([belly_x, side + (front - side) * depth, np.full(AROUND, z)])
    return np.vstack([back, belly])


def trunk_mesh(tissue):
    """Return vertices (n, 3), faces (m, 3) of the trunk, closed, oriented outward. [mm]

    The back is the skin of `tissue`; sides and belly are an assumed outline, fit for pictures and for
    the path of an X-ray beam, not for measuring.
    """
    first, last = tissue.scale[0], tissue.scale[0] + tissue.scale[1] * (len(tissue.profile) - 1)
    heights = np.linspace(first, last, int(np.ceil((last - first) / RINGS)) + 1)
    halves = half_width(heights, fat=tissue.fat, scale=tissue.stature_scale)
    return closed_loft(np.stack([_ring(tissue, z, half) for z, half in zip(heights, halves)]))
