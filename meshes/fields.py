"""Rows joined into one field: on a grid, at points, and as a surface.

A bone is an ordered table of rows: each adds to or cuts from what the rows before it built. Local frame in
mm, origin in the middle of the body, x left, y posterior, z cranial; the field is negative inside. It has the
right sign everywhere, but as a distance it can be 30 % too small a few millimetres away: how far bone is
comes from the exact distance grids made from it.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label as label_parts
from vtkmodules.util.numpy_support import numpy_to_vtk, vtk_to_numpy
from vtkmodules.vtkCommonDataModel import vtkImageData
from vtkmodules.vtkFiltersCore import vtkFlyingEdges3D

from meshes.compiled import kernel
from meshes.primitives import ROW_LENGTH, primitive, smooth_maximum, smooth_minimum
from meshes.rows import box_of_rows

# Surface unevenness. [mm]
ROUGHNESS = 0.22
# Film that stays free between neighbours anywhere in the pose in which bones are shaped. [mm]
FILM = 0.5
# Grid points along the edge of a block that shares one list of rows.
BLOCK = 4
# The field changes by less than this per mm (measured: up to 1.15 near the surface).
STEEPEST = 1.5
# A block whose points, and those beside it, surely keep this from the surface is far: more than the
# unevenness and what a step to the next grid point can change beyond `reach`. [mm]
BESIDE = 0.5
# Beyond this from the surface nothing is carved or roughened; deeper inside than the second, too. [mm]
SHELL, DEEPEST_CARVE = 3.0, 6.0


@dataclass(frozen=True, eq=False)
class Clearance:
    """What a bone must keep clear of: the arch of the bone above, in the pose in which bones are shaped.

    Parameters
    ----------
    rows : (n, 44) float
        Rows of the bone above, in its frame.
    rotation, translation : (3, 3), (3,) float
        From this bone's frame to the frame of the bone above. [mm]
    gap : float
        Least distance lateral of `inner_limit`. [mm]
    inner_limit : float
        Medial of it only a thin film is kept, so that carving never opens the window. [mm]
    """

    rows: np.ndarray
    rotation: np.ndarray
    translation: np.ndarray
    gap: float
    inner_limit: float


NOTHING_ABOVE = Clearance(np.zeros((0, ROW_LENGTH)), np.eye(3), np.zeros(3), 0.0, 0.0)


@kernel
def fold(rows, chosen, x, y, z):
    """Return the field of the chosen rows, in their order, at one point."""
    value = 1e9
    for i in chosen:
        part = primitive(rows[i], x, y, z)
        if rows[i, 1] < 0.5:
            value = smooth_minimum(value, part, rows[i, 2])
        else:
            value = smooth_maximum(value, -part, rows[i, 2])
    return value


@kernel
def unevenness(x, y, z):
    """Return a gentle unevenness of the surface, even in x so that it cannot tilt an endplate sideways."""
    x = abs(x)
    coarse = math.sin(0.33 * x + 1.7 * math.sin(0.17 * y + 0.12 * z))
    coarse *= math.sin(0.31 * y + 0.7 + math.sin(0.13 * z)) * math.sin(0.35 * z + 1.3 * math.sin(0.21 * x))
    fine = math.sin(0.71 * x + 2.0 * math.sin(0.3 * z)) * math.sin(0.83 * y + 1.0)
    return coarse + 0.4 * fine * math.sin(0.77 * z + 2.0 * math.sin(0.2 * y))


@kernel
def turned(rotation, translation, x, y, z):
    """Return a point in the frame of the bone above."""
    px = rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z + translation[0]
    py = rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z + translation[1]
    pz = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z + translation[2]
    return px, py, pz


@kernel
def choose_rows(rows, chosen, reach, x, y, z):
    """List the rows that can matter within `reach` of a point; return how many.

    A row is dropped when even its smallest value in reach stays above its blend radius. The first row always
    stays.
    """
    count = 0
    for i in range(rows.shape[0]):
        if i == 0 or primitive(rows[i], x, y, z) < reach + rows[i, 2]:
            chosen[count] = i
            count += 1
    return count


@kernel
def carved(value, above, gap, inner_limit, lateral):
    """Return the field where the bone above is `above` away and `lateral` its own |x|."""
    carve = max(min(gap - above, lateral - inner_limit), FILM - above)
    return smooth_maximum(value, carve, 0.6)


@kernel
def fill_block(
    field, first, rows, chosen, origin, pitch, above, near, rotation, translation, gap, inner_limit
):
    """Fill the block of `field` that begins at `first` (k, j, i) from short lists of rows."""
    nz, ny, nx = field.shape
    for k in range(first[0], min(first[0] + BLOCK, nz)):
        z = origin[2] + k * pitch
        for j in range(first[1], min(first[1] + BLOCK, ny)):
            y = origin[1] + j * pitch
            for i in range(first[2], min(first[2] + BLOCK, nx)):
                x = origin[0] + i * pitch
                value = fold(rows, chosen, x, y, z)
                if value < SHELL:
                    value += ROUGHNESS * unevenness(x, y, z)
                    if near.shape[0] > 0 and value > -DEEPEST_CARVE:
                        px, py, pz = turned(rotation, translation, x, y, z)
                        value = carved(value, fold(above, near, px, py, pz), gap, inner_limit, abs(px))
                field[k, j, i] = value


@kernel
def fill_grid(field, rows, origin, pitch, above, rotation, translation, gap, inner_limit):
    """Fill `field` (nz, ny, nx) block by block; a block far from the surface gets one value."""
    nz, ny, nx = field.shape
    everything = np.arange(rows.shape[0])
    chosen, near = np.empty(rows.shape[0], np.int64), np.empty(above.shape[0], np.int64)
    half = 0.5 * (BLOCK - 1) * pitch
    reach = STEEPEST * math.sqrt(3.0) * (half + 0.5 * pitch)
    for k in range(0, nz, BLOCK):
        for j in range(0, ny, BLOCK):
            for i in range(0, nx, BLOCK):
                x, y, z = (
                    origin[0] + i * pitch + half,
                    origin[1] + j * pitch + half,
                    origin[2] + k * pitch + half,
                )
                middle = fold(rows, everything, x, y, z)
                if abs(middle) > reach + BESIDE and (middle > 0.0 or above.shape[0] == 0):
                    field[k : k + BLOCK, j : j + BLOCK, i : i + BLOCK] = middle
                    continue
                mine = choose_rows(rows, chosen, reach + 3.0, x, y, z)
                px, py, pz = turned(rotation, translation, x, y, z)
                theirs = choose_rows(above, near, reach + SHELL, px, py, pz)
                fill_block(
                    field,
                    (k, j, i),
                    rows,
                    chosen[:mine],
                    origin,
                    pitch,
                    above,
                    near[:theirs],
                    rotation,
                    translation,
                    gap,
                    inner_limit,
                )


@kernel
def fill_points(values, rows, points):
    """Fill `values` (n,) with the field of all rows at `points` (n, 3)."""
    everything = np.arange(rows.shape[0])
    for i in range(points.shape[0]):
        values[i] = fold(rows, everything, points[i, 0], points[i, 1], points[i, 2])


def evaluate_half(rows, *, pitch, clearance=None):
    """Return the field of a bone on the half grid x >= 0, unevenness and carving included.

    The bone must be even in x: the other half is the mirror image.

    Parameters
    ----------
    rows : (n, 44) float
    pitch : float
        Spacing of the grid; above 2 mm thin processes can break off. [mm]
    clearance : Clearance or None
        What to keep clear of.

    Returns
    -------
    field : (nz, ny, nx) float32
        Negative inside. [mm]
    origin : (3,) float
        Of the first grid point; x is 0. [mm]
    """
    return _on_grid(rows, pitch, clearance, sides=1)


def evaluate_whole(rows, *, pitch, clearance=None):
    """Return the field of a bone whose sides are unlike, or whose neighbour is, on a whole grid.

    As `evaluate_half`, but x runs from -reach to +reach, so that 2 n - 1 points lie even about the midline:
    where the bone is even in x, this is the half field with its mirror image.
    """
    return _on_grid(rows, pitch, clearance, sides=2)


def _on_grid(rows, pitch, clearance, *, sides):
    if pitch <= 0.0:
        raise ValueError(f"pitch must be positive, got {pitch:g}: give the spacing of the grid in mm")
    low, high = box_of_rows(rows)
    reach = max(high[0], -low[0])
    # On whole multiples of the spacing: a change at one end of a bone leaves the mesh of the other end alone.
    low = pitch * np.floor(low / pitch)
    sizes = np.ceil(np.array([reach, *(high - low)[1:]]) / pitch).astype(int) + 1
    origin = np.array([0.0, low[1], low[2]])
    if sides == 2:
        origin[0], sizes[0] = -pitch * (sizes[0] - 1), 2 * sizes[0] - 1
    field = np.empty(sizes[::-1], np.float32)
    c = NOTHING_ABOVE if clearance is None else clearance
    above, rotation, translation = (np.ascontiguousarray(a) for a in (c.rows, c.rotation, c.translation))
    fill_grid(
        field, rows, origin, float(pitch), above, rotation, translation, float(c.gap), float(c.inner_limit)
    )
    return field, origin


def evaluate(rows, points):
    """Return the field (n,) of the rows alone at `points` (n, 3), without unevenness and carving. [mm]"""
    points = np.ascontiguousarray(points, float)
    if points.ndim != 2 or points.shape[1] != 3:
        raise ValueError(f"points must have shape (n, 3), got {points.shape}: put x, y, z on the last axis")
    values = np.empty(len(points))
    fill_points(values, rows, points)
    return values


def largest_part(field, *, cavities=False):
    """Make every part of a bone positive, in place, that is not joined to the largest; return the field.

    What surgery or carving has cut loose is taken out with it. With `cavities`, holes without a way out are
    filled too: a sliver of the bone above can leave one.
    """
    parts, count = label_parts(field < 0.0)
    if count > 1:
        sizes = np.bincount(parts.ravel())
        sizes[0] = 0
        loose = (parts > 0) & (parts != sizes.argmax())
        field[loose] = -field[loose]
    if cavities:
        parts, count = label_parts(field >= 0.0)
        if count > 1:
            shut = (parts > 0) & (parts != np.bincount(parts.ravel())[1:].argmax() + 1)
            # Zero is outside too.
            field[shut] = -np.maximum(field[shut], 1e-3)
    return field


def contour(field, origin, pitch):
    """Return the surface at zero as (vertices (n, 3), faces (m, 3)), faces turned outward.

    Closed where the field is positive on the whole rim of the grid. Flying edges; linear between grid points.
    """
    image = vtkImageData()
    image.SetDimensions(*field.shape[::-1])
    image.SetOrigin(*origin)
    image.SetSpacing(pitch, pitch, pitch)
    image.GetPointData().SetScalars(numpy_to_vtk(np.ascontiguousarray(field).ravel(), deep=False))
    edges = vtkFlyingEdges3D()
    edges.SetInputData(image)
    edges.SetValue(0, 0.0)
    edges.ComputeNormalsOff()
    edges.ComputeGradientsOff()
    edges.ComputeScalarsOff()
    edges.Update()
    surface = edges.GetOutput()
    if surface.GetNumberOfPoints() == 0:
        raise ValueError(
            "field must change its sign on the grid, got no surface: check rows, origin and pitch"
        )
    vertices = vtk_to_numpy(surface.GetPoints().GetData()).astype(float)
    faces = vtk_to_numpy(surface.GetPolys().GetConnectivityArray()).reshape(-1, 3)
    # The filter winds towards growing values, which is inward for a field that is negative inside.
    return vertices, faces[:, ::-1].astype(np.int64)
