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
    cells = np.diff(edges).astype(np.float32)
    coarse = np.add.reduceat(np.add.reduceat(picture, edges[:-1], axis=0), edges[:-1], axis=1)
    coarse = gaussian_filter(coarse / (cells[:, None] * cells), reach * len(cells), mode="nearest")
    rows = coarse[before] + share[:, None] * (coarse[before + 1] - coarse[before])
    return rows[:, before] + share * (rows[:, before + 1] - rows[:, before])


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
    columns, reach = source.shape[1], weights.shape[0] - 1
    padded = np.empty(columns + 2 * reach, np.float32)
    for j in range(first, last):
        padded[:reach] = source[j, 0]
        padded[reach + columns :] = source[j, columns - 1]
        for i in range(columns):
            padded[reach + i] = source[j, i]
        for i in range(columns):
            out[j, i] = weights[0] * padded[reach + i]
        for k in range(1, reach + 1):
            weight = weights[k]
            for i in range(columns):
                out[j, i] += weight * (padded[reach + i - k] + padded[reach + i + k])


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
