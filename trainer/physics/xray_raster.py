"""Attenuation along every ray, from closed surfaces alone.

A closed surface, wound so that its normals point out, separates a material inside from one outside. A ray
from the source crosses it in pairs; each crossing adds distance times the step of attenuation, positive
where the ray leaves:

    path attenuation = sum over crossings of (+1 leaving, -1 entering) * distance * (inside - outside)

So a picture is drawn triangle by triangle. Corners are snapped to 1/256 of a pixel and edges are decided in
whole numbers with a top-left rule: along a shared edge exactly one of the two triangles is hit, and every
ray crosses a closed surface an even number of times.
"""

from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import numpy as np

from meshes.compiled import kernel

SUBPIXELS = 256
# Fixed, whatever the machine: the order of the sums decides the last bit.
CHUNKS = 2
WORTH_A_THREAD = 20_000
NEAREST = 1.0


@kernel
def snap_vertices(vertices, first, last, source, axes, scale, half, columns, rows, nearness):
    """Fill columns and rows [1/256 pixel] and 1/depth of some vertices; return the smallest depth [mm]."""
    smallest = np.inf
    for i in range(first, last):
        x = vertices[i, 0] - source[0]
        y = vertices[i, 1] - source[1]
        z = vertices[i, 2] - source[2]
        depth = axes[2, 0] * x + axes[2, 1] * y + axes[2, 2] * z
        smallest = min(smallest, depth)
        if depth < 1.0:
            continue
        inverse = 1.0 / depth
        right = (axes[0, 0] * x + axes[0, 1] * y + axes[0, 2] * z) * scale * inverse
        up = (axes[1, 0] * x + axes[1, 1] * y + axes[1, 2] * z) * scale * inverse
        columns[i] = np.int64(np.rint((half + right) * 256.0))
        rows[i] = np.int64(np.rint((half - up) * 256.0))
        nearness[i] = inverse
    return smallest


@kernel
def add_triangles(columns, rows, nearness, faces, jump, first, last, middle, finer, sums):
    """Add (depth - middle) * jump of every crossing to `sums` (n, n), with the sign of leaving.

    `finer` is the power of two of rays a pixel side; columns and rows count in 1/256 of a ray's cell.
    """
    cells = sums.shape[0] << finer
    for q in range(first, last):
        i0 = faces[q, 0]
        i1 = faces[q, 1]
        i2 = faces[q, 2]
        x0 = columns[i0]
        y0 = rows[i0]
        x1 = columns[i1]
        y1 = rows[i1]
        x2 = columns[i2]
        y2 = rows[i2]
        left = max((min(x0, min(x1, x2)) + 127) >> 8, 0)
        right = min((max(x0, max(x1, x2)) - 128) >> 8, cells - 1)
        top = max((min(y0, min(y1, y2)) + 127) >> 8, 0)
        bottom = min((max(y0, max(y1, y2)) - 128) >> 8, cells - 1)
        if left > right or top > bottom:
            continue
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area == 0:
            continue
        step = jump[q]
        if area > 0:
            step = -step
        else:
            # The far and the near side of a body are walked with the same sense, so that ties agree.
            i1, i2 = i2, i1
            x1, x2 = x2, x1
            y1, y2 = y2, y1
            area = -area
        n0 = nearness[i0]
        n1 = nearness[i1]
        n2 = nearness[i2]
        down0 = x2 - x1
        down1 = x0 - x2
        down2 = x1 - x0
        along0 = y1 - y2
        along1 = y2 - y0
        along2 = y0 - y1
        # A point on an edge belongs to the triangle only if the edge is a left or a top one.
        own0 = 0 if along0 > 0 or (along0 == 0 and down0 > 0) else -1
        own1 = 0 if along1 > 0 or (along1 == 0 and down1 > 0) else -1
        own2 = 0 if along2 > 0 or (along2 == 0 and down2 > 0) else -1
        x = left * 256 + 128
        y = top * 256 + 128
        start0 = along0 * (x - x1) + down0 * (y - y1)
        start1 = along1 * (x - x2) + down1 * (y - y2)
        start2 = along2 * (x - x0) + down2 * (y - y0)
        for j in range(top, bottom + 1):
            e0 = start0
            e1 = start1
            e2 = start2
            for i in range(left, right + 1):
                if e0 + own0 >= 0 and e1 + own1 >= 0 and e2 + own2 >= 0:
                    depth = area / (e0 * n0 + e1 * n1 + e2 * n2)
                    sums[j >> finer, i >> finer] += step * (depth - middle)
                e0 += along0 * 256
                e1 += along1 * 256
                e2 += along2 * 256
            start0 += down0 * 256
            start1 += down1 * 256
            start2 += down2 * 256


@lru_cache(maxsize=8)
def _slants(carm):
    """Length of each pixel's ray over its share along the middle ray, (n, n)."""
    across = (
        (np.arange(carm.pixels) + 0.5) * carm.pixel_pitch - 0.5 * carm.image_size
    ) / carm.source_to_detector
    slants = np.sqrt(1.0 + across[:, None] ** 2 + across[None, :] ** 2)
    slants.setflags(write=False)
    return slants


@lru_cache(maxsize=1)
def _pool():
    return ThreadPoolExecutor(CHUNKS, thread_name_prefix="xray")


def _in_chunks(work, size):
    """Return [work(first, last), ...] over equal parts of range(size), in threads if that pays."""
    if size < WORTH_A_THREAD:
        return [work(0, size)]
    edges = [size * k // CHUNKS for k in range(CHUNKS + 1)]
    return list(_pool().map(work, edges[:-1], edges[1:]))


def _project(surfaces, carm, cells):
    count = len(surfaces.vertices)
    columns, rows, nearness = np.empty(count, np.int64), np.empty(count, np.int64), np.empty(count)
    scale = carm.source_to_detector / carm.image_size * cells

    def part(first, last):
        return snap_vertices(
            surfaces.vertices,
            first,
            last,
            carm.source,
            carm.axes,
            scale,
            0.5 * cells,
            columns,
            rows,
            nearness,
        )

    closest = min(_in_chunks(part, count))
    if closest < NEAREST:
        raise ValueError(
            f"surfaces must lie at least {NEAREST:g} mm in front of the source, got {closest:.1f} mm: "
            "move the tube away from the patient"
        )
    return columns, rows, nearness


def path_attenuation(surfaces, carm, *, rays_per_pixel_side=1):
    """Return the attenuation along the ray of every pixel.

    Exact for the triangles after snapping (1/256 pixel, about 2 micrometres at the isocentre); additive: the
    picture of joined surfaces is the sum of their pictures. Surfaces must be closed; an open one leaves
    streaks as long as the way to the source.

    Parameters
    ----------
    surfaces : Surfaces
    carm : CArm
    rays_per_pixel_side : int
        1, 2 or 4; the mean of their attenuations is taken. More than one suits thin wires.

    Returns
    -------
    (pixels, pixels) float
        Without unit; transmission is exp(-it).

    Raises
    ------
    ValueError
        If something lies beside or behind the source, or `rays_per_pixel_side` is not 1, 2 or 4.

    Source
    ------
    Path lengths by signed crossings of closed surfaces: Freud, Duvauchelle, Létang, Babot, Fast and robust
    ray casting algorithms for virtual X-ray imaging, Nucl Instrum Methods B 2006;248:175-180 (from memory).
    """
    if rays_per_pixel_side not in (1, 2, 4):
        raise ValueError(f"rays_per_pixel_side must be 1, 2 or 4, got {rays_per_pixel_side!r}: try 2")
    finer = {1: 0, 2: 1, 4: 2}[rays_per_pixel_side]
    if len(surfaces.faces) == 0:
        return np.zeros((carm.pixels, carm.pixels))
    columns, rows, nearness = _project(surfaces, carm, carm.pixels << finer)

    def part(first, last):
        sums = np.zeros((carm.pixels, carm.pixels))
        add_triangles(
            columns, rows, nearness, surfaces.faces, surfaces.jump, first, last,
            carm.source_to_isocentre, finer, sums,
        )  # fmt: skip
        return sums

    total, *others = _in_chunks(part, len(surfaces.faces))
    for other in others:
        total += other
    total *= _slants(carm)
    if finer:
        total *= 0.25**finer
    return total


class StillAttenuation:
    """Pictures of what does not move, kept by the pose of the C-arm.

    Parameters
    ----------
    surfaces : Surfaces
        Of one posed anatomy.
    keep : int
        How many poses are remembered; the one used longest ago is forgotten first.
    """

    def __init__(self, surfaces, *, keep=8):
        if keep < 1:
            raise ValueError(f"keep must be at least 1, got {keep!r}: remember one pose or more")
        self.surfaces = surfaces
        self.keep = keep
        self._kept = OrderedDict()

    def seen_by(self, carm):
        """Return the path attenuation (pixels, pixels), read-only, computed at the first call only."""
        if carm not in self._kept:
            picture = path_attenuation(self.surfaces, carm)
            picture.setflags(write=False)
            self._kept[carm] = picture
            while len(self._kept) > self.keep:
                self._kept.popitem(last=False)
        self._kept.move_to_end(carm)
        return self._kept[carm]
