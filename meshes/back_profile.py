"""The row of spinous processes as the hand feels it: where it runs, and where the fascia over it stands."""

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from meshes.compiled import kernel
from meshes.distance import nearest_bone
from meshes.levels import COLUMN

# Columns of the profile along the row; the slope of each stands in the next one.
LINE, ROW, EXTRA, SEAT, TURN = 0, 2, 4, 6, 8
SPACING = 2.0  # [mm] of the rays along the row
SMOOTHING = 5.0  # [mm] of the fascia along the row
LINE_SMOOTHING = 8.0  # [mm] of the row from side to side
TURN_SMOOTHING = 12.0  # [mm] of how the back is turned
TOUCH = 0.02  # [mm]


@kernel
def bone_behind(values, table, x, z, behind, front):
    """Return y (n,) of the first bone met on lines from `behind` forward to `front` (n,), nan without one."""
    found = np.full(z.shape[0], np.nan)
    for i in range(z.shape[0]):
        y = behind
        while y > front[i]:
            distance = nearest_bone(values, table, x[i], y, z[i], False)[0]
            if distance < TOUCH:
                found[i] = y
                break
            y -= max(distance, 0.05)
    return found


def spinous_tips(bones, poses, *, stature_scale):
    """Return the tips of the spinous processes (n, 3), caudal to cranial. [mm]"""
    levels = [level for level in COLUMN[::-1] if level in bones]
    tips = [(bones[level].shape.spinous_lean, *bones[level].shape.spinous_tip) for level in levels]
    tips = [poses[level].apply(stature_scale * np.array(tip)) for level, tip in zip(levels, tips)]
    return np.array(tips)


def spinous_line(tips, z):
    """Return x (n,) of the row of spinous processes at heights z (n,), straight beyond the last tips."""
    heights, unique = np.unique(tips[:, 2], return_index=True)
    x = np.interp(z, heights, tips[unique, 0])
    return gaussian_filter1d(x, LINE_SMOOTHING / (z[1] - z[0]), mode="nearest")


def turned_back(poses, z):
    """Return how far the back is turned at heights z (n,), as dy/dx, and its slope along z. [1], [1/mm]

    Ribs and muscle turn with the vertebra they hang on; level beyond the last ones.
    """
    left = np.array([pose.rotation[:, 0] for pose in poses.values()])
    heights, unique = np.unique([pose.translation[2] for pose in poses.values()], return_index=True)
    turn = np.interp(z, heights, (left[:, 1] / left[:, 0])[unique])
    turn = gaussian_filter1d(turn, TURN_SMOOTHING / (z[1] - z[0]), mode="nearest")
    return turn, np.gradient(turn, z)


def closing(z, y, radius):
    """Return y (n,) with every hollow narrower than a parabola of this radius at its apex bridged.

    A parabola rolled along the row from behind; nothing is lowered.
    """
    drop = (z[:, None] - z[None]) ** 2 / (2.0 * radius)
    return ((y[None] - drop).max(axis=1)[None] + drop).min(axis=1)


def _smooth_over(bone, line):
    """Return `line` (n,) smoothed, lifted where that is needed to stay behind `bone` (n,)."""
    for _ in range(4):
        line = gaussian_filter1d(np.maximum(line, bone), SMOOTHING / SPACING, mode="nearest")
    # What is left is a fraction of a millimetre at the sharpest tip.
    return line + max(0.0, float((bone - line).max()))


def fascia_line(packed, x, z, *, front, above, radius, taken=None):
    """Return y and dy/dz (n,) of the fascia over the row of spinous processes. [mm], [1]

    Parameters
    ----------
    x, z : (n,) float
        The row, z rising evenly. [mm]
    front : (n,) float
        Where the canal begins: a ray that comes so far has passed between two laminae. [mm]
    above : float
        How far the fascia stands off the bone. [mm]
    radius : float
        Hollows between tips that are narrower are bridged. [mm]
    taken : callable or None
        Of (x, z): y of bone that surgery took away, over which the fascia stays; -inf where there was none.
    """
    coarse = np.arange(z[0], z[-1] + SPACING, SPACING)
    behind = float((packed.table[:, 24] + packed.table[:, 26]).max()) + 1.0
    across = np.interp(coarse, z, x)
    bone = bone_behind(packed.values, packed.table, across, coarse, behind, np.interp(coarse, z, front))
    if taken is not None:
        bone = np.fmax(bone, taken(across, coarse))
        bone[np.isinf(bone)] = np.nan
    met = np.flatnonzero(~np.isnan(bone))
    if met.size == 0:
        raise ValueError("packed must hold bones behind the canal, got none: pack the whole column")
    # Beyond the last bone at either end the back goes on as it was there.
    bone[: met[0]], bone[met[-1] + 1 :] = bone[met[0]], bone[met[-1]]
    known = np.where(np.isnan(bone), -1e3, bone)
    line = _smooth_over(known, closing(coarse, known, radius)) + above
    spline = CubicSpline(coarse, line)
    return spline(z), spline(z, 1)
