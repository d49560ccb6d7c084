"""The paraspinal muscles of each side as one closed body between fascia and bone.

Erector spinae and multifidus are not parted; beside the transverse processes the body ends on a smooth
plane through them.
"""

import numpy as np
from scipy.ndimage import gaussian_filter

from meshes.back_profile import bone_behind
from meshes.flavum import closed_plate
from meshes.levels import SACRUM
from meshes.tables.loader import number

SIDES = (("left", 1.0), ("right", -1.0))
ROW_STEP, COLUMNS = 4.0, 33  # [mm] along the back; across
FROM_MIDLINE = 3.5  # [mm] kept from the middle of the row of spinous processes
UNDER_FASCIA, FROM_BONE = 1.0, 0.8  # [mm]
SMOOTHING = (1.2, 1.0)  # rows, columns
THINNEST = 1.0  # [mm]
EDGE_THIN = 0.85  # share of the width beyond which the body thins out
ABOVE_SACRUM = 8.0  # [mm] above the upper plate of S1, where the body begins


def _bone_front(packed, x, z, fascia, front):
    """Return y (rows, columns) of the first bone before the fascia, gaps bridged."""
    flat = [np.ascontiguousarray(np.ravel(v)) for v in (x, z, front)]
    met = bone_behind(packed.values, packed.table, flat[0], flat[1], float(fascia.max()), flat[2])
    met = met.reshape(x.shape)
    known = ~np.isnan(met)
    # A mean over the neighbours that are known; the far ones carry where none is near.
    filled = np.zeros(met.shape)
    weight = np.zeros(met.shape)
    for width, share in ((1.5, 1.0), (5.0, 1e-3), (20.0, 1e-6)):
        near = gaussian_filter(known.astype(float), width)
        filled += share * gaussian_filter(np.where(known, met, 0.0), width)
        weight += share * near
    return np.where(known, met, filled / np.maximum(weight, 1e-12))


def muscle_surfaces(anatomy, sign):
    """Return the front and the back (rows, 33, 3) of one side's muscle; sign 1 for the patient's left. [mm]

    Columns run to the left. Raises ValueError if the anatomy holds no bone behind the canal.
    """
    tissue, canal, scale = anatomy.tissue, anatomy.canal, anatomy.parameters.stature_scale
    lowest = float(anatomy.poses[SACRUM].translation[2]) + ABOVE_SACRUM * scale
    z = np.arange(lowest, canal.centre[-1, 2], ROW_STEP)
    share = np.linspace(0.0, 1.0, COLUMNS)
    caudal, cranial = (
        scale * number("ligaments", f"muscle.{key}") for key in ("lateral", "lateral_thoracic")
    )
    reach = caudal + (cranial - caudal) * np.linspace(0.0, 1.0, z.size)[:, None]
    x = tissue.midline(z)[:, None] + sign * (FROM_MIDLINE + (reach - FROM_MIDLINE) * share)
    height = np.broadcast_to(z[:, None], x.shape)
    fascia = tissue.fascia(x, height) - UNDER_FASCIA
    # Below L5 the canal runs backward through the sacrum, whose wings lie in front of it: hold the line.
    above = canal.u >= canal.station("L5")
    axis = np.interp(z, np.maximum.accumulate(canal.centre[above, 2]), canal.centre[above, 1])
    deep = _bone_front(anatomy.packed, x, height, fascia, np.repeat(axis, COLUMNS).reshape(x.shape))
    # Never in bone, though smooth: the hinder of the two.
    front = np.maximum(gaussian_filter(deep, SMOOTHING), deep) + FROM_BONE
    thin = np.clip((share - EDGE_THIN) / (1.0 - EDGE_THIN), 0.0, 1.0) ** 2
    front = front + thin * np.maximum(fascia - front - THINNEST, 0.0)
    front = np.minimum(front, fascia - THINNEST)
    sheets = [np.stack([x, y, height], axis=-1) for y in (front, fascia)]
    return sheets if sign > 0.0 else [sheet[:, ::-1] for sheet in sheets]


def muscle_meshes(anatomy):
    """Return {"left paraspinal muscle": (vertices, faces), ...}, each one closed body. [mm]"""
    return {
        f"{side} paraspinal muscle": closed_plate(*muscle_surfaces(anatomy, sign)) for side, sign in SIDES
    }
