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
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from meshes.compiled import kernel
from trainer.physics.two_threads import in_parts

SUBPIXELS = 256
# Fixed, whatever the machine: the order of the sums decides the last bit.
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
def add_triangles(
    columns, rows, nearness, faces, jump, first, last, middle, finer, first_row, first_column, sums
):
    """Add (depth - middle) * jump of every crossing to `sums`, with the sign of leaving.

    `sums` is the part of the picture that begins at pixel (first_row, first_column). `finer` is the power of
    two of rays a pixel side; columns and rows count in 1/256 of a ray's cell.
    """
    highest = first_row << finer
    leftmost = first_column << finer
    lowest = ((first_row + sums.shape[0]) << finer) - 1
    rightmost = ((first_column + sums.shape[1]) << finer) - 1
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
        left = max((min(x0, min(x1, x2)) + 127) >> 8, leftmost)
        right = min((max(x0, max(x1, x2)) - 128) >> 8, rightmost)
        top = max((min(y0, min(y1, y2)) + 127) >> 8, highest)
        bottom = min((max(y0, max(y1, y2)) - 128) >> 8, lowest)
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
        down0 = x2 - x1
        down1 = x0 - x2
        down2 = x1 - x0
        along0 = y1 - y2
        along1 = y2 - y0
        along2 = y0 - y1
        x = left * 256 + 128
        y = top * 256 + 128
        edge0 = along0 * (x - x1) + down0 * (y - y1)
        edge1 = along1 * (x - x2) + down1 * (y - y2)
        edge2 = along2 * (x - x0) + down2 * (y - y0)
        # 1/depth is linear on the picture.
        n0 = nearness[i0]
        n1 = nearness[i1]
        n2 = nearness[i2]
        near_row = (edge0 * n0 + edge1 * n1 + edge2 * n2) / area
        near_right = (along0 * n0 + along1 * n1 + along2 * n2) * 256.0 / area
        near_down = (down0 * n0 + down1 * n1 + down2 * n2) * 256.0 / area
        # A point on an edge belongs to the triangle only if the edge is a left or a top one.
        if not (along0 > 0 or (along0 == 0 and down0 > 0)):
            edge0 -= 1
        if not (along1 > 0 or (along1 == 0 and down1 > 0)):
            edge1 -= 1
        if not (along2 > 0 or (along2 == 0 and down2 > 0)):
            edge2 -= 1
        along0 *= 256
        along1 *= 256
        along2 *= 256
        for j in range(top, bottom + 1):
            row = (j >> finer) - first_row
            e0 = edge0
            e1 = edge1
            e2 = edge2
            near = near_row
            for i in range(left, right + 1):
                if (e0 | e1 | e2) >= 0:
                    sums[row, (i >> finer) - first_column] += step * (1.0 / near - middle)
                e0 += along0
                e1 += along1
                e2 += along2
                near += near_right
            edge0 += down0 * 256
            edge1 += down1 * 256
            edge2 += down2 * 256
            near_row += near_down


@lru_cache(maxsize=8)
def _slants(pixels, half_opening):
    """Length of each pixel's ray over its share along the middle ray, (n, n)."""
    across = ((np.arange(pixels) + 0.5) * (2.0 / pixels) - 1.0) * half_opening
    slants = np.sqrt(1.0 + across[:, None] ** 2 + across[None, :] ** 2)
    slants.setflags(write=False)
    return slants


def _in_chunks(work, size):
    """Return [work(first, last), ...] over equal parts of range(size), in threads if that pays."""
    if size < WORTH_A_THREAD:
        return [work(0, size)]
    return in_parts(work, size)


@dataclass(frozen=True)
class Window:
    """A part of a picture: its first row and column, and those behind its last ones."""

    first_row: int
    last_row: int
    first_column: int
    last_column: int

    @property
    def empty(self):
        return self.first_row >= self.last_row or self.first_column >= self.last_column

    @property
    def slices(self):
        """What to index a picture with."""
        return slice(self.first_row, self.last_row), slice(self.first_column, self.last_column)

    def grown(self, margin, pixels):
        """Return the window with a margin round it, inside a picture of so many pixels."""
        return Window(
            max(self.first_row - margin, 0),
            min(self.last_row + margin, pixels),
            max(self.first_column - margin, 0),
            min(self.last_column + margin, pixels),
        )


def whole_picture(carm):
    """Return the Window of all pixels."""
    return Window(0, carm.pixels, 0, carm.pixels)


def window_of(surfaces, carm):
    """Return the smallest Window outside which surfaces leave no trace; an empty one if they lie outside."""
    if len(surfaces.faces) == 0:
        return Window(0, 0, 0, 0)
    columns, rows, _ = carm.project(surfaces.vertices)
    ends = [np.clip((np.floor(v.min()), np.ceil(v.max()) + 1), 0, carm.pixels) for v in (rows, columns)]
    return Window(*(int(end) for pair in ends for end in pair))


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


def path_attenuation(surfaces, carm, *, rays_per_pixel_side=1, window=None):
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
    window : Window or None
        The part of the picture that is wanted; all of it if None.

    Returns
    -------
    (pixels, pixels) float, or the part of it in the window
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
    window = whole_picture(carm) if window is None else window
    rows, columns = window.slices
    shape = (window.last_row - window.first_row, window.last_column - window.first_column)
    if len(surfaces.faces) == 0 or window.empty:
        return np.zeros(np.maximum(shape, 0))
    places = _project(surfaces, carm, carm.pixels << finer)

    def part(first, last):
        sums = np.zeros(shape)
        add_triangles(
            *places, surfaces.faces, surfaces.jump, first, last, carm.source_to_isocentre, finer,
            window.first_row, window.first_column, sums,
        )  # fmt: skip
        return sums

    total, *others = _in_chunks(part, len(surfaces.faces))
    for other in others:
        total += other
    total *= _slants(carm.pixels, 0.5 * carm.image_size / carm.source_to_detector)[rows, columns]
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
    rasterise : callable
        `path_attenuation`, or another way to the same numbers.
    """

    def __init__(self, surfaces, *, keep=8, rasterise=path_attenuation):
        if keep < 1:
            raise ValueError(f"keep must be at least 1, got {keep!r}: remember one pose or more")
        self.surfaces = surfaces
        self.keep = keep
        self._rasterise = rasterise
        self._kept = OrderedDict()

    def seen_by(self, carm):
        """Return the path attenuation (pixels, pixels), read-only, computed at the first call only."""
        if carm not in self._kept:
            picture = self._rasterise(self.surfaces, carm)
            picture.setflags(write=False)
            self._kept[carm] = picture
            while len(self._kept) > self.keep:
                self._kept.popitem(last=False)
        self._kept.move_to_end(carm)
        return self._kept[carm]
