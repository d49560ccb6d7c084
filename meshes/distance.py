"""How far a point is from the bones: signed distance grids, packed with their poses for compiled queries.

Each bone keeps one grid in its own frame; a change of pose changes only a row of 27 numbers.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from meshes.compiled import kernel
from meshes.distance_build import REACH

# Columns of the table of packed bones.
MARGIN, PACKED_REACH = 0, 1
ROTATION, TRANSLATION = 3, 12
ORIGIN, PITCH, SHAPE, OFFSET = 15, 18, 19, 22
CENTRE, RADIUS = 23, 26
COLUMNS = 27


@dataclass(frozen=True, eq=False)
class DistanceGrid:
    """Signed distance to one closed surface on a regular grid, negative inside.

    Parameters
    ----------
    values : (nz, ny, nx) float32
        Exact up to `reach`, then the constant `reach`. [mm]
    origin : (3,) float
        Position of values[0, 0, 0]. [mm]
    pitch : float
        [mm]
    margin : float
        How far the surface keeps from the outside of the grid's box, at least. [mm]
    reach : float
        [mm]
    buffer, offset : (n,) float32 or None, int
        The flat array that `values` is a view of, shared by several grids, and where it begins there.
    """

    values: np.ndarray
    origin: np.ndarray
    pitch: float
    margin: float
    reach: float = REACH
    buffer: np.ndarray | None = None
    offset: int = 0

    def at(self, points, *, cubic=True):
        """Return the signed distance (...) of points (..., 3) in the grid's frame. [mm]

        Outside the box a safe lower bound.
        """
        points = check_points(points)
        flat, row = self.values.reshape(-1), self.row()[None]
        return clearances(flat, row, points.reshape(-1, 3), cubic).reshape(points.shape[:-1])

    def row(self):
        """Return the 27 numbers of this grid in the pose that leaves it where it is."""
        row = np.zeros(COLUMNS)
        row[MARGIN], row[PACKED_REACH], row[PITCH] = self.margin, self.reach, self.pitch
        row[ROTATION:TRANSLATION] = np.eye(3).ravel()
        row[ORIGIN:PITCH] = self.origin
        row[SHAPE:OFFSET] = self.values.shape[::-1]
        extent = self.pitch * (row[SHAPE:OFFSET] - 1.0)
        row[CENTRE:RADIUS] = self.origin + 0.5 * extent
        row[RADIUS] = 0.5 * np.linalg.norm(extent)
        return row


@dataclass(frozen=True, eq=False)
class PackedBones:
    """Grids of several bones in one buffer, with one row of numbers a bone that holds its pose.

    Parameters
    ----------
    values : (n,) float32
        All grids, flat; does not depend on the pose. [mm]
    table : (levels, 27) float
    levels : tuple of str
        What each row is: a level, or the words for an obstacle such as "the left L4 pedicle screw".
    beside : {words: level}
        The vertebra that holds each row that is not a bone; empty where all are bones.
    """

    values: np.ndarray
    table: np.ndarray
    levels: tuple
    beside: dict = field(default_factory=dict)

    def level_of(self, index):
        """Return the vertebra of a row: the bone itself, or the one that holds the obstacle."""
        name = self.levels[index]
        return self.beside.get(name, name)

    def obstacle(self, index):
        """Return the words for a row that is no bone, or None."""
        name = self.levels[index]
        return name if name in self.beside else None

    def only(self, levels):
        """Return the same buffer with the rows of these levels, in this order.

        Raises
        ------
        ValueError
            If a level is not packed.
        """
        missing = [level for level in levels if level not in self.levels]
        if missing:
            raise ValueError(
                f"levels must be among {', '.join(self.levels)}, got {', '.join(missing)}: pack them too"
            )
        rows = [self.levels.index(level) for level in levels]
        beside = {name: level for name, level in self.beside.items() if name in levels}
        return PackedBones(self.values, np.ascontiguousarray(self.table[rows]), tuple(levels), beside)

    def nearest(self, points, *, cubic=True):
        """Return the distance (...) from points (..., 3) to the nearest bone. [mm]"""
        points = check_points(points)
        found = clearances(self.values, self.table, points.reshape(-1, 3), cubic)
        return found.reshape(points.shape[:-1])


def check_points(points):
    """Return points as a contiguous float array (..., 3), or raise ValueError."""
    points = np.ascontiguousarray(points, dtype=float)
    if points.ndim == 0 or points.shape[-1] != 3:
        raise ValueError(f"points must have shape (..., 3), got {points.shape}: put x, y, z on the last axis")
    return points


def _bone_row(bone, pose):
    row = bone.grid.row()
    centre, radius = bone.sphere
    row[ROTATION:TRANSLATION] = pose.rotation.ravel()
    row[TRANSLATION:ORIGIN] = pose.translation
    row[CENTRE:RADIUS] = pose.apply(centre)
    row[RADIUS] = radius
    return row


def pack_bones(bones, poses, levels=None):
    """Return PackedBones of `bones` {level: Bone} placed by `poses` {level: Pose}.

    The buffer is not copied where all grids already share one.
    """
    levels = tuple(levels) if levels is not None else tuple(bones)
    grids = [bones[level].grid for level in levels]
    table = np.array([_bone_row(bones[level], poses[level]) for level in levels])
    shared = grids[0].buffer
    if shared is not None and all(grid.buffer is shared for grid in grids):
        table[:, OFFSET] = [grid.offset for grid in grids]
        return PackedBones(shared, table, levels)
    sizes = [grid.values.size for grid in grids]
    table[:, OFFSET] = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    return PackedBones(np.concatenate([grid.values.ravel() for grid in grids]), table, levels)


@kernel
def _trilinear(values, offset, nx, ny, nz, fx, fy, fz):
    i, j, k = min(max(int(fx), 0), nx - 2), min(max(int(fy), 0), ny - 2), min(max(int(fz), 0), nz - 2)
    u, v, w = fx - i, fy - j, fz - k
    row, plane = nx, nx * ny
    b = offset + k * plane + j * row + i
    c00 = values[b] * (1.0 - u) + values[b + 1] * u
    c10 = values[b + row] * (1.0 - u) + values[b + row + 1] * u
    b += plane
    c01 = values[b] * (1.0 - u) + values[b + 1] * u
    c11 = values[b + row] * (1.0 - u) + values[b + row + 1] * u
    return (c00 * (1.0 - v) + c10 * v) * (1.0 - w) + (c01 * (1.0 - v) + c11 * v) * w


@kernel
def _cubic_weights(u):
    """Catmull-Rom."""
    return (
        ((2.0 - u) * u - 1.0) * u * 0.5,
        ((3.0 * u - 5.0) * u * u + 2.0) * 0.5,
        ((4.0 - 3.0 * u) * u + 1.0) * u * 0.5,
        (u - 1.0) * u * u * 0.5,
    )


@kernel
def _tricubic(values, offset, nx, ny, nz, fx, fy, fz):
    i, j, k = int(fx), int(fy), int(fz)
    if i < 1 or j < 1 or k < 1 or i > nx - 3 or j > ny - 3 or k > nz - 3:
        return _trilinear(values, offset, nx, ny, nz, fx, fy, fz)
    along_x, along_y, along_z = _cubic_weights(fx - i), _cubic_weights(fy - j), _cubic_weights(fz - k)
    total = 0.0
    for c in range(4):
        plane = 0.0
        for b in range(4):
            q = offset + ((k + c - 1) * ny + (j + b - 1)) * nx + i - 1
            plane += along_y[b] * (
                along_x[0] * values[q]
                + along_x[1] * values[q + 1]
                + along_x[2] * values[q + 2]
                + along_x[3] * values[q + 3]
            )
        total += along_z[c] * plane
    return total


@kernel
def distance_to_bone(values, table, index, x, y, z, cubic):
    """Return the signed distance of a point to bone `index`.

    Exact inside its grid up to the reach; outside the grid's box a safe lower bound.
    """
    row = table[index]
    dx, dy, dz = x - row[TRANSLATION], y - row[TRANSLATION + 1], z - row[TRANSLATION + 2]
    px = row[ROTATION] * dx + row[ROTATION + 3] * dy + row[ROTATION + 6] * dz
    py = row[ROTATION + 1] * dx + row[ROTATION + 4] * dy + row[ROTATION + 7] * dz
    pz = row[ROTATION + 2] * dx + row[ROTATION + 5] * dy + row[ROTATION + 8] * dz
    pitch = row[PITCH]
    fx = (px - row[ORIGIN]) / pitch
    fy = (py - row[ORIGIN + 1]) / pitch
    fz = (pz - row[ORIGIN + 2]) / pitch
    nx, ny, nz = int(row[SHAPE]), int(row[SHAPE + 1]), int(row[SHAPE + 2])
    offset = int(row[OFFSET])
    cx, cy, cz = min(max(fx, 0.0), nx - 1.0), min(max(fy, 0.0), ny - 1.0), min(max(fz, 0.0), nz - 1.0)
    outside = (fx - cx) ** 2 + (fy - cy) ** 2 + (fz - cz) ** 2
    if outside > 0.0:
        outside = math.sqrt(outside) * pitch
        rim = _trilinear(values, offset, nx, ny, nz, cx, cy, cz)
        # The rim's value is capped, so beyond it only the distance to the box can grow.
        return max(rim - outside, outside + row[MARGIN])
    if cubic:
        return _tricubic(values, offset, nx, ny, nz, fx, fy, fz)
    return _trilinear(values, offset, nx, ny, nz, fx, fy, fz)


@kernel
def nearest_bone(values, table, x, y, z, cubic):
    """Return (distance, index) of the nearest bone; (1e9, -1) without bones.

    Bones whose bounding sphere lies farther than the best so far, or than any grid reaches, are not asked:
    the distance to the sphere stands for them, a safe lower bound.
    """
    best, holder = 1e9, -1
    for index in range(table.shape[0]):
        row = table[index]
        dx, dy, dz = x - row[CENTRE], y - row[CENTRE + 1], z - row[CENTRE + 2]
        sphere = math.sqrt(dx * dx + dy * dy + dz * dz) - row[RADIUS]
        if sphere >= best:
            continue
        d = sphere
        if sphere < row[PACKED_REACH] + 2.0:
            d = distance_to_bone(values, table, index, x, y, z, cubic)
        if d < best:
            best, holder = d, index
    return best, holder


@kernel
def clearances(values, table, points, cubic):
    """Return the distance (n,) of points (n, 3) to the nearest bone. `cubic` is a bool."""
    out = np.empty(points.shape[0])
    for i in range(points.shape[0]):
        out[i] = nearest_bone(values, table, points[i, 0], points[i, 1], points[i, 2], cubic)[0]
    return out
