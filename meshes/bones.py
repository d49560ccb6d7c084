"""Every bone of the column as one closed mesh and one exact distance grid, built once and kept on disk.

Bones depend on the shape parameters only. They are built and stored at stature 1 and scaled when read,
so posture, stature and soft tissue never rebuild them.
"""

from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from meshes import cache
from meshes.distance import DistanceGrid
from meshes.distance_build import REACH, mirrored, signed_grid
from meshes.fields import contour, evaluate_half, evaluate_whole, largest_part
from meshes.levels import COLUMN
from meshes.parameters import SpineParameters, shape_facts
from meshes.rows import has_cuts
from meshes.vertebra import VertebraShape, neighbour_clearance, shape_column

PITCH = 0.8  # [mm] error of the grid: rms 0.007, largest 0.09 mm; 1.0 mm is twice as coarse and hardly faster
THREADS = 2
STORED = ("vertices", "faces", "values", "origin")


def box_of(vertices):
    """Return the lowest and the highest corner (3,) of vertices (n, 3), column by column: far faster."""
    columns = vertices.T
    return np.array([column.min() for column in columns]), np.array([column.max() for column in columns])


@dataclass(frozen=True, eq=False)
class Bone:
    """One bone in its own frame: origin body centre, x left, y posterior, z cranial; scaled by stature.

    Parameters
    ----------
    level : str
    vertices, faces : (n, 3) float, (m, 3) int
        Closed, oriented outward. [mm]
    grid : DistanceGrid
        Signed distance to that mesh.
    shape : VertebraShape
        The numbers it was drawn from, at stature 1.
    """

    level: str
    vertices: np.ndarray
    faces: np.ndarray
    grid: DistanceGrid
    shape: VertebraShape

    @cached_property
    def sphere(self):
        """Centre (3,) and radius of a sphere that holds the bone. [mm]"""
        low, high = box_of(self.vertices)
        centre = 0.5 * (low + high)
        squared = sum((self.vertices[:, k] - centre[k]) ** 2 for k in range(3))
        return centre, float(np.sqrt(squared.max()))


def meshed(field, origin, pitch, *, reach=REACH):
    """Return {name: array} of a bone from its field: vertices, faces, values of the grid, and its origin.

    A field that begins at x = 0 is half of a mirror image; its mesh is whole, its grid the same half. [mm]
    """
    whole, corner = field, origin
    if origin[0] == 0.0:
        whole, corner = mirrored(field), np.array([-pitch * (field.shape[2] - 1), *origin[1:]])
    vertices, faces = contour(whole, corner, pitch)
    # Single precision on disk and in memory: a bone read back is the bone that was built, to the bit.
    vertices = vertices.astype(np.float32)
    values = signed_grid(vertices.astype(float), faces, field, origin=origin, pitch=pitch, reach=reach)
    return {"vertices": vertices, "faces": faces.astype(np.int32), "values": values, "origin": origin}


def _build_one(shapes, level, pitch):
    """Return {name: array} of one bone at stature 1, as they are stored."""
    clearance = neighbour_clearance(shapes, level)
    above = shapes[COLUMN[max(COLUMN.index(level) - 1, 0)]]
    even = shapes[level].symmetric and above.symmetric
    evaluate = evaluate_half if even else evaluate_whole
    field, origin = evaluate(shapes[level].rows, pitch=pitch, clearance=clearance)
    cut = any(has_cuts(shape.rows) for shape in (shapes[level], above))
    return meshed(largest_part(field, cavities=cut), origin, pitch)


def _build_all(shapes, pitch, report):
    """Return {'L1.values': array, ...} of the whole column, built in two threads."""
    arrays = {}
    # The sacrum is the largest: begun first, it does not end last.
    order = COLUMN[::-1]
    with ThreadPoolExecutor(THREADS) as pool:
        jobs = {pool.submit(_build_one, shapes, level, pitch): level for level in order}
        for done, job in enumerate(as_completed(jobs), start=1):
            level = jobs[job]
            arrays |= {f"{level}.{name}": array for name, array in job.result().items()}
            report(done, len(order), f"bone {level}")
    return arrays


def _expected():
    return {f"{level}.{name}" for level in COLUMN for name in STORED}


def _shape_of_whole(values, origin):
    """Return the shape of the whole grid of which `values` may be the half that begins at x = 0."""
    return (*values.shape[:2], 2 * values.shape[2] - 1) if origin[0] == 0.0 else values.shape


def placed_grid(values, origin, vertices, *, pitch, scale=1.0, reach=REACH, out=None):
    """Return the whole DistanceGrid of stored values, written into `out`, at a stature.

    `vertices` are those of the placed bone; all other lengths are at stature 1. [mm]
    """
    whole = np.empty(_shape_of_whole(values, origin), np.float32) if out is None else out
    if whole.shape == values.shape:
        whole[:] = values
    else:
        mirrored(values, out=whole)
        origin = np.array([-pitch * (values.shape[2] - 1), *origin[1:]])
    if scale != 1.0:
        whole *= np.float32(scale)
    first, pitch = origin * scale, pitch * scale
    last = first + pitch * (np.array(whole.shape[::-1]) - 1.0)
    low, high = box_of(vertices)
    margin = float(min((low - first).min(), (last - high).min()))
    return DistanceGrid(whole, first, pitch, margin, reach * scale)


def _assemble(arrays, shapes, *, pitch, scale):
    """Return {level: Bone} whose grids are views of one buffer."""
    places = {level: (arrays[f"{level}.values"], arrays[f"{level}.origin"]) for level in COLUMN}
    sizes = [int(np.prod(_shape_of_whole(*place))) for place in places.values()]
    buffer = np.empty(sum(sizes), np.float32)
    ends = np.cumsum(sizes)

    def placed(level, end, size):
        values, origin = places[level]
        out = buffer[end - size : end].reshape(_shape_of_whole(values, origin))
        vertices = arrays[f"{level}.vertices"].astype(float) * scale
        grid = placed_grid(values, origin, vertices, pitch=pitch, scale=scale, out=out)
        grid = replace(grid, buffer=buffer, offset=int(end - size))
        return Bone(level, vertices, arrays[f"{level}.faces"], grid, shapes[level])

    with ThreadPoolExecutor(THREADS) as pool:
        return dict(zip(COLUMN, pool.map(placed, COLUMN, ends, sizes)))


def _silent(done, total, words):
    pass


def build_bones(parameters=SpineParameters(), *, pitch=PITCH, progress=None):  # noqa: B008 - frozen
    """Return {level: Bone} of the whole column, T6 to S1, from disk where they were built before.

    Parameters
    ----------
    parameters : SpineParameters
        Only the shape parameters and the stature matter here.
    pitch : float
        Spacing of fields and grids at stature 1. [mm]
    progress : callable or None
        Called as progress(done, total, words) after each bone.

    Raises
    ------
    ValueError
        If `pitch` lies outside 0.4 to 1.6 mm.
    """
    if not 0.4 <= pitch <= 1.6:
        raise ValueError(f"pitch must lie between 0.4 and 1.6 mm, got {pitch}: 0.8 suits every use here")
    report = progress or _silent
    path = cache.entry("bones", shape_facts(parameters), pitch)
    with ThreadPoolExecutor(1) as reader:
        loading = reader.submit(cache.load, path)
        shapes = shape_column(parameters)
        arrays = loading.result()
    if arrays is None or set(arrays) != _expected():
        arrays = _build_all(shapes, pitch, report)
        cache.store(path, arrays)
    else:
        report(len(COLUMN), len(COLUMN), "bones from disk")
    return _assemble(arrays, shapes, pitch=pitch, scale=parameters.stature_scale)
