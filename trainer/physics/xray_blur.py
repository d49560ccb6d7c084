"""Blurs of a picture: narrow ones exactly, wide ones on a coarse grid."""

from functools import cache

import numpy as np
from scipy.ndimage import gaussian_filter

from meshes.compiled import kernel

# Wide blurs are done on a grid of about this many points a side.
COARSE_POINTS = 64
# Narrow blurs end at this many standard deviations.
ENDS = 3.0


@cache
def _coarse_axis(pixels):
    """Return where coarse cells start, and for each pixel the cell before it and the share of the next."""
    edges = np.linspace(0, pixels, min(COARSE_POINTS, pixels) + 1).astype(int)
    middles = 0.5 * (edges[1:] + edges[:-1])
    place = np.interp(np.arange(pixels) + 0.5, middles, np.arange(len(middles)))
    before = np.minimum(place.astype(int), len(middles) - 2)
    return edges, before, (place - before).astype(np.float32)


def wide_blur(picture, reach):
    """Return a picture blurred by a Gaussian of `reach` times its width, done on a coarse grid.

    No matrix products: their threads wait for one another when the machine is busy, and their number may
    change the last bit.
    """
    edges, before, share = _coarse_axis(len(picture))
    picture = np.ascontiguousarray(picture, np.float32)
    coarse = np.empty((len(edges) - 1, len(edges) - 1), np.float32)
    cell_means(picture, edges, coarse)
    coarse = gaussian_filter(coarse, reach * len(coarse), mode="nearest")
    out = np.empty_like(picture)
    spread_cells(coarse, before, share, out)
    return out


@kernel
def cell_means(picture, edges, coarse):
    """Fill `coarse` with the means of a picture over cells that begin and end at `edges`, both ways."""
    cells = coarse.shape[0]
    for m in range(cells):
        coarse[m] = 0.0
        for j in range(edges[m], edges[m + 1]):
            row = picture[j]
            for k in range(cells):
                total = np.float32(0.0)
                for i in range(edges[k], edges[k + 1]):
                    total += row[i]
                coarse[m, k] += total
        for k in range(cells):
            coarse[m, k] /= (edges[m + 1] - edges[m]) * (edges[k + 1] - edges[k])


@kernel
def spread_cells(coarse, before, share, out):
    """Fill `out` from coarse cells, linear between their middles; `before` and `share` as in _coarse_axis."""
    for j in range(out.shape[0]):
        upper, lower, weight = coarse[before[j]], coarse[before[j] + 1], share[j]
        row = upper + weight * (lower - upper)
        for i in range(out.shape[1]):
            first = row[before[i]]
            out[j, i] = first + share[i] * (row[before[i] + 1] - first)


@kernel
def blur_down(source, weights, first, last, out):
    """Fill rows first to last of `out` with `source` blurred down its columns; edges repeat.

    `weights` (r + 1,) is one half of an even kernel, its middle first.
    """
    rows, columns = source.shape
    for j in range(first, last):
        for i in range(columns):
            out[j, i] = weights[0] * source[j, i]
        for k in range(1, weights.shape[0]):
            above, below, weight = max(j - k, 0), min(j + k, rows - 1), weights[k]
            for i in range(columns):
                out[j, i] += weight * (source[above, i] + source[below, i])


@kernel
def blur_along(source, weights, first, last, out):
    """Fill rows first to last of `out` with `source` blurred along its rows; edges repeat."""
    # Slices, because a compiler that sees them adds up eight pixels at a time.
    columns, reach = source.shape[1], weights.shape[0] - 1
    padded = np.empty(columns + 2 * reach, np.float32)
    for j in range(first, last):
        row, blurred, weight = source[j], out[j], weights[0]
        padded[:reach] = row[0]
        padded[reach : reach + columns] = row
        padded[reach + columns :] = row[columns - 1]
        for i in range(columns):
            blurred[i] = weight * row[i]
        for k in range(1, reach + 1):
            before, behind = padded[reach - k : reach - k + columns], padded[reach + k : reach + k + columns]
            weight = weights[k]
            for i in range(columns):
                blurred[i] += weight * (before[i] + behind[i])


@cache
def half_weights(deviation):
    """Return (r + 1,) float32: half of a Gaussian of a deviation in pixels; the whole sums to 1."""
    places = np.arange(max(int(ENDS * deviation + 0.5), 0) + 1)
    weights = np.exp(-0.5 * (places / max(deviation, 1e-6)) ** 2)
    weights = (weights / (2.0 * weights.sum() - 1.0)).astype(np.float32)
    weights.setflags(write=False)
    return weights


def narrow_blur(picture, deviation):
    """Return a float32 picture blurred by a Gaussian of a standard deviation in pixels."""
    weights, rows = half_weights(deviation), len(picture)
    picture = np.ascontiguousarray(picture, np.float32)
    along, out = np.empty_like(picture), np.empty_like(picture)
    blur_along(picture, weights, 0, rows, along)
    blur_down(along, weights, 0, rows, out)
    return out
