"""From a point of the patient to the picture and back: the pinhole of a C-arm read both ways.

Columns and rows as in `CArm.project`: 0 is the left, or upper, edge, pixel centres lie at halves.
"""

import numpy as np

from meshes.frames import unit


def beam_at(carm, points):
    """Return the unit direction (..., 3) of the ray that meets each point (..., 3)."""
    return unit(np.asarray(points, float) - carm.source)


def picture_point(carm, points):
    """Return (column, row) (..., 2) of points (..., 3). [pixels]"""
    column, row, _ = carm.project(points)
    return np.stack([column, row], axis=-1)


def ray_through(carm, places):
    """Return the unit direction (..., 3) of the ray from the source that falls on places (..., 2)."""
    places = np.asarray(places, float)
    right, up, beam = carm.axes
    across = (places - 0.5 * carm.pixels) * carm.pixel_pitch
    ends = across[..., :1] * right - across[..., 1:] * up + carm.source_to_detector * beam
    return unit(ends)


def patient_point(carm, places, *, through):
    """Return the points (..., 3) [mm] that appear at places (..., 2), as far away as `through`.

    A picture alone tells a ray only: `through` (3,) chooses the plane across the middle ray.
    """
    ray = ray_through(carm, places)
    beam = carm.axes[2]
    depth = (np.asarray(through, float) - carm.source) @ beam
    return carm.source + ray * (depth / (ray @ beam))[..., None]


def millimetres_per_pixel(carm, point):
    """Return how long a pixel is at the depth of a point (3,). [mm]"""
    depth = float(carm.project(point)[2])
    return carm.pixel_pitch * depth / carm.source_to_detector
