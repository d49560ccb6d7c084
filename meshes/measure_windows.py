"""How far a built, posed interlaminar window is open: the bony gap, and what a straight path can see.

Both are measured on the meshes, in the frame of the disc: y posterior and z cranial of the plane that
halves the two facing endplates, origin in the middle of the disc.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label
from scipy.spatial import cKDTree

from meshes.compiled import kernel
from meshes.disc_frame import disc_frame
from meshes.levels import COLUMN, INTERSPACES, check_interspace, is_lumbar, split_interspace
from meshes.sections import plane_section, sampled
from meshes.units import radians

GAP_LATERAL = (0.0, 3.0, 6.0, 8.0, 10.0)
WINDOW_LATERAL = (0.0, 4.0, 6.0, 8.0)
CRANIAL_ANGLES_DEG = (0.0, 20.0, 30.0, 45.0, 60.0)
STEP_LATERAL = 6.0
# The method of the reference measurement (all in mm at stature 1): arches are looked for 9-32 behind the
# posterior body line, a path has reached the canal 7 behind it, and the window is cut off at 9 (thoracic)
# or 11 (lumbar) from the midline. Changing any of these makes the figures incomparable.
ARCH_FROM, ARCH_TO = 9.0, 32.0
CANAL_REACHED = 7.0
VIEW_PLANE = 14.0
HALF_WIDTH_THORACIC, HALF_WIDTH_LUMBAR = 9.0, 11.0
HALF_HEIGHT = 30.0
PIXEL = 0.5
SMALLEST_WINDOW = 6
FARTHEST_WINDOW = 16.0
EDGE_BAND = 2.0


@dataclass(frozen=True)
class WindowMeasures:
    """One interspace. Lengths in mm; keys are mm from the midline and degrees from the disc plane.

    Parameters
    ----------
    gap : dict of float
        Straight distance between the two arches in a sagittal section, mean of both sides; nan where a
        section does not meet both arches.
    clearance : dict of float
        Height that is free square on to the canal; negative where the arches overlap.
    step : float
        How far the lower edge of the upper arch lies behind the upper edge of the lower arch, 6 mm lateral.
    heights : dict of tuple
        Cranial angle -> free height across the path at `WINDOW_LATERAL`, the better side.
    width, area : dict of float
        Cranial angle -> greatest width and area [mm²] of the free window.
    """

    interspace: str
    gap: dict
    clearance: dict
    step: float
    heights: dict
    width: dict
    area: dict


@kernel
def shade(points, faces, shift, limit, left, bottom, pixel, blocked):
    """Set `blocked[row, column]` where a bone behind y = `limit` lies on a parallel path.

    A path through the pixel moves by `shift` cranially per mm that it moves anteriorly; pixel
    coordinates are x and z at y = 0.
    """
    rows, columns = blocked.shape
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ya, yb, yc = points[a, 1], points[b, 1], points[c, 1]
        if max(ya, yb, yc) <= limit:
            continue
        # In pixels.
        xa, xb, xc = (
            (points[a, 0] - left) / pixel,
            (points[b, 0] - left) / pixel,
            (points[c, 0] - left) / pixel,
        )
        za = (points[a, 2] + shift * ya - bottom) / pixel
        zb = (points[b, 2] + shift * yb - bottom) / pixel
        zc = (points[c, 2] + shift * yc - bottom) / pixel
        area = (xb - xa) * (zc - za) - (xc - xa) * (zb - za)
        if area == 0.0:
            continue
        first_row = max(0, int(np.ceil(min(za, zb, zc))))
        last_row = min(rows - 1, int(np.floor(max(za, zb, zc))))
        first_column = max(0, int(np.ceil(min(xa, xb, xc))))
        last_column = min(columns - 1, int(np.floor(max(xa, xb, xc))))
        for i in range(first_row, last_row + 1):
            for j in range(first_column, last_column + 1):
                wb = ((j - xa) * (zc - za) - (xc - xa) * (i - za)) / area
                wc = ((xb - xa) * (i - za) - (j - xa) * (zb - za)) / area
                if wb < 0.0 or wc < 0.0 or wb + wc > 1.0:
                    continue
                if ya + wb * (yb - ya) + wc * (yc - ya) > limit:
                    blocked[i, j] = True


def _arch_section(mesh, x, *, frame, scale):
    points = sampled(plane_section(*mesh, axis=0, at=x))
    depth = points[:, 0] - frame.posterior_line
    return points[(depth > ARCH_FROM * scale) & (depth < ARCH_TO * scale)]


def _one_gap(upper, lower):
    """Return distance, square-on clearance and step of two arch sections (k, 2) in y, z."""
    if len(upper) < 4 or len(lower) < 4:
        return np.full(3, np.nan)
    edge, top = upper[:, 1].min(), lower[:, 1].max()
    behind = upper[upper[:, 1] < edge + EDGE_BAND, 0].mean() - lower[lower[:, 1] > top - EDGE_BAND, 0].mean()
    return np.array([cKDTree(lower).query(upper)[0].min(), edge - top, behind])


def bony_gaps(upper, lower, *, frame, scale=1.0):
    """Return {mm lateral: (gap, clearance, step)} of two meshes in the disc frame, mean of both sides."""
    found = {}
    for lateral in GAP_LATERAL:
        sides = [0.0] if lateral == 0.0 else [lateral, -lateral]
        sections = [[_arch_section(m, x, frame=frame, scale=scale) for m in (upper, lower)] for x in sides]
        pairs = np.array([_one_gap(*pair) for pair in sections])
        met = ~np.isnan(pairs[:, 0])
        found[lateral] = pairs[met].mean(axis=0) if met.any() else pairs[0]
    return found


def free_window(meshes, *, frame, cranial, half_width, scale=1.0):
    """Return the mask (rows, columns) of the paths that reach the canal, `PIXEL` apart.

    Rows run cranially from -30 to 30 mm, columns to the patient's left from -`half_width`.

    Parameters
    ----------
    meshes : sequence of (vertices, faces)
        In the disc frame. [mm]
    cranial : float
        Angle of the path from the disc plane; the path runs anteriorly and cranially. [rad]
    half_width : float
        [mm]
    """
    columns, rows = round(2 * half_width / PIXEL) + 1, round(2 * HALF_HEIGHT / PIXEL) + 1
    blocked = np.zeros((rows, columns), np.bool_)
    # Pixels are counted where the path crosses the plane 14 mm behind the posterior body line.
    shift = float(np.tan(cranial))
    bottom = -HALF_HEIGHT + shift * (frame.posterior_line + VIEW_PLANE * scale)
    limit = frame.posterior_line + CANAL_REACHED * scale
    for vertices, faces in meshes:
        shade(vertices, faces, shift, limit, -float(half_width), bottom, PIXEL, blocked)
    return _largest_window(~blocked)


def _largest_window(free):
    """Return the mask of the largest connected window near the disc; all False if there is none."""
    parts, count = label(free)
    sizes = np.bincount(parts.ravel(), minlength=count + 1)
    sizes[0] = 0
    rows = np.arange(len(free)) * PIXEL - HALF_HEIGHT
    centre = np.bincount(parts.ravel(), weights=np.repeat(rows, free.shape[1]), minlength=count + 1)
    near = np.abs(centre) <= FARTHEST_WINDOW * sizes
    sizes[(sizes < SMALLEST_WINDOW) | ~near] = 0
    return parts == sizes.argmax() if sizes.any() else np.zeros_like(free)


def _heights(window, *, cranial, half_width):
    """Return the free heights across the path at `WINDOW_LATERAL`, the better side."""
    middle = round(half_width / PIXEL)
    tall = window.sum(axis=0) * PIXEL * np.cos(cranial)
    off = [round(x / PIXEL) for x in WINDOW_LATERAL]
    return tuple(float(max(tall[middle - k], tall[middle + k])) for k in off)


def _near_meshes(anatomy, upper, frame):
    """Return the two bones of the interspace and two more on each side, in the disc frame."""
    index = COLUMN.index(upper)
    levels = COLUMN[max(0, index - 2) : index + 4]
    found = {}
    for level in levels:
        bone = anatomy.bones[level]
        points = np.ascontiguousarray(frame.local(anatomy.poses[level].apply(bone.vertices)))
        near = (np.abs(points[:, 0]) < HALF_WIDTH_LUMBAR + 3.0) & (points[:, 1] > frame.posterior_line)
        kept = near[bone.faces[:, 0]] | near[bone.faces[:, 1]] | near[bone.faces[:, 2]]
        found[level] = points, np.ascontiguousarray(bone.faces[kept], np.int64)
    return found


def measure_window(anatomy, interspace):
    """Return the WindowMeasures of one interspace of a built, posed anatomy.

    Heights are counted on a raster of 0.5 mm; gaps are exact on the mesh but for its 0.8 mm facets.
    At the midline of lumbar interspaces the nearest bone can be the spinous process, not the lamina.
    """
    upper, lower = split_interspace(interspace)
    scale = anatomy.parameters.stature_scale
    frame = disc_frame(anatomy, interspace)
    meshes = _near_meshes(anatomy, upper, frame)
    gaps = bony_gaps(meshes[upper], meshes[lower], frame=frame, scale=scale)
    half_width = HALF_WIDTH_LUMBAR if is_lumbar(upper) else HALF_WIDTH_THORACIC
    heights, width, area = {}, {}, {}
    for angle in CRANIAL_ANGLES_DEG:
        cranial = radians(angle)
        window = free_window(
            meshes.values(), frame=frame, cranial=cranial, half_width=half_width, scale=scale
        )
        heights[angle] = _heights(window, cranial=cranial, half_width=half_width)
        width[angle] = float(window.sum(axis=1).max() * PIXEL)
        area[angle] = float(window.sum() * PIXEL**2 * np.cos(cranial))
    return WindowMeasures(
        interspace=check_interspace(interspace),
        gap={x: float(found[0]) for x, found in gaps.items()},
        clearance={x: float(found[1]) for x, found in gaps.items()},
        step=float(gaps[STEP_LATERAL][2]),
        heights=heights,
        width=width,
        area=area,
    )


def measure_windows(anatomy, interspaces=INTERSPACES):
    """Return {interspace: WindowMeasures}, head to tail. See `measure_window`."""
    with ThreadPoolExecutor(2) as pool:
        return dict(zip(interspaces, pool.map(lambda name: measure_window(anatomy, name), interspaces)))
