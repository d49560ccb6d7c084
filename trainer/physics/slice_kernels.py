"""Compiled painting of slices: tissue and brightness of every pixel, finer where tissues meet, then grey.

Rows are painted independently, so that two threads can share a picture.
"""

import numpy as np

from meshes.compiled import kernel
from trainer.physics.slice_layers import along_rows, texture_at
from trainer.physics.slice_tissue_at import classify
from trainer.physics.slice_tissues import CORD, FAT, MARROW, MUSCLE, ORGAN

# How much of the signal of a surface coil is left at a depth. [mm]
COIL_REACH, NEAREST_COIL = 230.0, 1.13
# In front of the spine a saturation band takes the signal away, so that moving bowel leaves no ghosts. [mm]
BAND_FROM, BAND_FULL, BAND_LEFT = 46.0, 64.0, 0.30


@kernel
def _grain(field, tissue, x, y, z):
    """Return how a tissue varies at a point: muscle in fibres along the back, organs in coarse loops."""
    if tissue == MUSCLE:
        return texture_at(field, x / 1.1, y / 1.1, z / 7.0)
    if tissue == ORGAN:
        return texture_at(field, x / 5.0, y / 5.0, z / 5.0)
    if tissue == MARROW:
        return texture_at(field, x / 0.9, y / 0.9, z / 1.3)
    if tissue == FAT:
        return texture_at(field, x / 2.6, y / 1.1, z / 2.6)
    if tissue == CORD:
        return texture_at(field, x / 1.5, y / 1.5, z / 6.0)
    return texture_at(field, x / 1.3, y / 1.3, z / 1.6)


@kernel
def _brighten(f, points, count, level, grain, coil, tissue, other, share, depth, value):
    """Write the brightness (count,) of points; with `coil`, as one at the back receives it."""
    rows, first = f.rows, f.row_facts[0]
    for n in range(count):
        x, y, z = points[n, 0], points[n, 1], points[n, 2]
        own, weight = tissue[n], share[n]
        bright = level[own] * (1.0 - weight) + level[other[n]] * weight
        rough = grain[own] * (1.0 - weight) + grain[other[n]] * weight
        if rough != 0.0:
            bright += rough * _grain(f.texture, own, x, y, z)
        if coil:
            bright = max(bright, 0.0)
            band = along_rows(rows, first, z, 2) - y
            bright *= NEAREST_COIL * COIL_REACH / (COIL_REACH + depth[n])
            if band > BAND_FROM:
                band = min((band - BAND_FROM) / (BAND_FULL - BAND_FROM), 1.0)
                bright *= 1.0 - (1.0 - BAND_LEFT) * band * band * (3.0 - 2.0 * band)
        value[n] = bright


@kernel
def _borders(tissue, alike, row, found):
    """Write the columns of a row whose neighbours hold a tissue that looks unlike; return how many."""
    rows, columns = tissue.shape
    own, above, below = tissue[row], tissue[max(row - 1, 0)], tissue[min(row + 1, rows - 1)]
    count = 0
    for column in range(columns):
        same = alike[own[column]]
        left, right = own[max(column - 1, 0)], own[min(column + 1, columns - 1)]
        if not (same[above[column]] and same[below[column]] and same[left] and same[right]):
            found[count] = column
            count += 1
    return count


@kernel
def _places(corner, right, down, normal, row, found, count, finer, points):
    """Write where a row is asked: the middles of its pixels, or two places in each voxel named in `found`.

    Neighbouring voxels are asked at the other diagonal and at other depths.
    """
    for m in range(count):
        odd = (row + found[m]) & 1
        for n in range(2 if finer else 1):
            a, b, c = float(row), float(found[m]), 0.0
            if finer:
                a += 0.25 if n else -0.25
                b += 0.25 if n ^ odd else -0.25
                c = 0.5 * n - (0.375 if odd else 0.125)
            place = 2 * m + n if finer else m
            for axis in range(3):
                points[place, axis] = corner[axis] + a * down[axis] + b * right[axis] + c * normal[axis]


@kernel
def paint(f, corner, right, down, normal, level, grain, alike, facts, finer, tissue, signal, first, last):
    """Write tissue and brightness of the rows from `first` up to `last`, each at the pixel's middle.

    With `finer`, in a second pass over the whole picture: where unlike tissues meet, write the mean of the
    middle and two places within the voxel. `normal` is as long as the slice is thick, so that what a thick
    slice holds beside its middle shows too. `facts`: how much thicker cortex is drawn, by how much metal
    [mm], and 1 for a coil.
    """
    columns = tissue.shape[1]
    found, points = np.arange(columns), np.empty((2 * columns, 3))
    own, other = np.empty(2 * columns, np.int8), np.empty(2 * columns, np.int8)
    share, depth = np.empty(2 * columns, np.float32), np.empty(2 * columns, np.float32)
    value = np.empty(2 * columns, np.float32)
    for row in range(first, last):
        count = _borders(tissue, alike, row, found) if finer else columns
        asked = 2 * count if finer else count
        _places(corner, right, down, normal, row, found, count, finer, points)
        classify(f, points, asked, facts[0], facts[1], own, other, share, depth)
        _brighten(f, points, asked, level, grain, facts[2] > 0.0, own, other, share, depth, value)
        for m in range(count):
            if finer:
                total = signal[row, found[m]] + value[2 * m] + value[2 * m + 1]
                signal[row, found[m]] = total / 3.0
            else:
                tissue[row, m], signal[row, m] = own[m], value[m]


@kernel
def develop(signal, noise, spread, low, rise, magnitude, grey, out, first, last):
    """Write grey 0 to 255: noise added, both smoothed over the neighbours, then the scale `grey` (1024,).

    The scale is entered at (value - low) rise. `magnitude` tells that noise cannot make a signal negative, as
    in magnetic resonance.
    """
    rows, columns = signal.shape
    line, top = np.empty(columns + 2, np.float32), grey.shape[0] - 1
    for row in range(first, last):
        up, under = max(row - 1, 0), min(row + 1, rows - 1)
        for column in range(columns):
            value = 2.0 * (signal[row, column] + spread * noise[row, column])
            value += signal[up, column] + spread * noise[up, column]
            line[column + 1] = value + signal[under, column] + spread * noise[under, column]
        line[0], line[columns + 1] = line[1], line[columns]
        for column in range(columns):
            value = 0.0625 * (line[column] + 2.0 * line[column + 1] + line[column + 2])
            if magnitude:
                value = abs(value)
            out[row, column] = grey[min(max(int((value - low) * rise + 0.5), 0), top)]
