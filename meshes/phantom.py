"""A case as a bench phantom to print: its bones, and a tray whose floor is the skin of the back.

The tray opens to the front: the bones are laid into it and gel or wax is poured round them.
"""

import numpy as np

from meshes.findings import levels_between
from meshes.levels import SACRUM

STEP = 2.0  # [mm] of the skin's grid
HALF_WIDTH = 75.0  # [mm] of the tray
BEYOND = 28.0  # [mm] above the middle of the highest body and below that of the lowest
IN_FRONT = 6.0  # [mm] from the foremost bone to the rim
THINNEST, THICKEST = 1.0, 6.0  # [mm] walls that print and leave room over the spinous processes


def _grid(tissue, x, z, inset):
    """Return points (len(z), len(x), 3) that lie `inset` [mm] square under the skin."""
    frames = [[tissue.skin_frame(a, b)[:2] for a in x] for b in z]
    y = np.array([[point[1] - inset / normal[1] for point, normal in row] for row in frames])
    across, along = np.meshgrid(x, z)
    return np.stack([across, y, along], axis=-1)


def _border(rows, columns):
    """Return the indices of a grid's border, once round."""
    index = np.arange(rows * columns).reshape(rows, columns)
    return np.concatenate([index[0, :-1], index[:-1, -1], index[-1, :0:-1], index[:0:-1, 0]])


def _sheet(rows, columns):
    """Return the faces of a grid that look backward, where x runs along columns and z along rows."""
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    return np.concatenate([np.stack([a, c, b], -1), np.stack([a, d, c], -1)])


def _band(first, second):
    """Return the faces between two loops of indices that run alike."""
    following, beyond = np.roll(first, -1), np.roll(second, -1)
    return np.concatenate([np.stack([first, following, beyond], -1), np.stack([first, beyond, second], -1)])


def skin_block(tissue, *, wall, low, high, front):
    """Return (vertices, faces) of the tray, one closed body.

    Parameters
    ----------
    tissue : SoftTissue
    wall : float
        Thickness of floor and sides. [mm]
    low, high : float
        z of its ends. [mm]
    front : float
        y of its rim. [mm]

    Raises
    ------
    ValueError
        If the wall is too thin to print, or leaves no room for the bones.
    """
    if not THINNEST <= wall <= THICKEST:
        raise ValueError(
            f"wall must lie between {THINNEST:g} and {THICKEST:g} mm, got {wall:g}: 2 to 3 prints well"
        )
    columns, rows = int(2.0 * HALF_WIDTH / STEP) + 1, int((high - low) / STEP) + 1
    sheets = [
        _grid(
            tissue,
            np.linspace(-HALF_WIDTH + inset, HALF_WIDTH - inset, columns),
            np.linspace(low + inset, high - inset, rows),
            inset,
        ).reshape(-1, 3)
        for inset in (0.0, wall)
    ]
    border, count = _border(rows, columns), rows * columns
    rims = [np.column_stack([s[border, 0], np.full(len(border), front), s[border, 2]]) for s in sheets]
    around = np.arange(len(border))
    outer_rim, inner_rim = 2 * count + around, 2 * count + len(border) + around
    faces = [
        _sheet(rows, columns),
        _sheet(rows, columns)[:, ::-1] + count,
        _band(border, outer_rim),
        _band(outer_rim, inner_rim),
        _band(inner_rim, border + count),
    ]
    return np.concatenate([*sheets, *rims]), np.concatenate(faces)


def phantom_meshes(anatomy, *, wall, upper="T10", lower="S1"):
    """Return {name: (vertices, faces)} of a phantom: 'skin block' and the bones from `upper` to `lower`.

    Every part is closed and to be printed by itself. [mm]

    Raises
    ------
    ValueError
        If the wall is too thin or too thick, or `upper` lies below `lower`.
    """
    bones = {level: anatomy.bone_meshes[level] for level in levels_between(upper, lower)}
    ends = [anatomy.poses[level].translation[2] for level in (upper, lower)]
    deep = BEYOND + (60.0 * anatomy.parameters.stature_scale if lower == SACRUM else 0.0)
    front = min(float(vertices[:, 1].min()) for vertices, _ in bones.values()) - IN_FRONT
    block = skin_block(anatomy.tissue, wall=wall, low=ends[1] - deep, high=ends[0] + BEYOND, front=front)
    return {"skin block": block, **bones}
