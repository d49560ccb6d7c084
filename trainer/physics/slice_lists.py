"""Compiled lists: which bones and capsules can matter in a block of room, and the maps of skin and fascia."""

import math

import numpy as np

from meshes.compiled import kernel
from meshes.distance import CENTRE, RADIUS, distance_to_bone
from meshes.soft_tissue import fascia_height, skin_frame

LISTED = 4


@kernel
def height_maps(profile, scale, x, z):
    """Return y of skin and fascia (len(z), len(x), 2) float32. [mm]"""
    out = np.empty((z.shape[0], x.shape[0], 2), np.float32)
    for i in range(z.shape[0]):
        for j in range(x.shape[0]):
            out[i, j, 0] = skin_frame(profile, scale, x[j], z[i])[0]
            out[i, j, 1] = fascia_height(profile, scale, x[j], z[i])[0]
    return out


@kernel
def bones_of_blocks(values, table, points, size):
    """Return the rows (n, 4) int8 of the bones that come near to blocks about points (n, 3), -1 for none."""
    out = np.full((points.shape[0], LISTED), -1, np.int8)
    reach = 0.87 * size + 0.4
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        found = 0
        for index in range(table.shape[0]):
            row = table[index]
            dx, dy, dz = x - row[CENTRE], y - row[CENTRE + 1], z - row[CENTRE + 2]
            if math.sqrt(dx * dx + dy * dy + dz * dz) > row[RADIUS] + reach:
                continue
            if found < LISTED and distance_to_bone(values, table, index, x, y, z, False) < reach:
                out[i, found] = index
                found += 1
    return out


@kernel
def capsule_distance(row, x, y, z):
    """Return how far a point lies outside a capsule with two radii, to first order. [mm]"""
    ax, ay, az = row[3] - row[0], row[4] - row[1], row[5] - row[2]
    px, py, pz = x - row[0], y - row[1], z - row[2]
    share = (px * ax + py * ay + pz * az) / (ax * ax + ay * ay + az * az + 1e-12)
    share = min(max(share, 0.0), 1.0)
    px, py, pz = px - share * ax, py - share * ay, pz - share * az
    return math.sqrt(px * px + py * py + pz * pz) - row[6] - share * (row[7] - row[6])


@kernel
def _fill(capsules, first, size, counts, start, listed, write):
    """Count, or write, the capsules of each block; `start` holds the next free place of each."""
    for c in range(capsules.shape[0]):
        row = capsules[c]
        widest = max(row[6], row[7])
        i0 = max(int((min(row[0], row[3]) - widest - first[0]) / size), 0)
        j0 = max(int((min(row[1], row[4]) - widest - first[1]) / size), 0)
        k0 = max(int((min(row[2], row[5]) - widest - first[2]) / size), 0)
        i1 = min(int((max(row[0], row[3]) + widest - first[0]) / size), counts[0] - 1)
        j1 = min(int((max(row[1], row[4]) + widest - first[1]) / size), counts[1] - 1)
        k1 = min(int((max(row[2], row[5]) + widest - first[2]) / size), counts[2] - 1)
        for k in range(k0, k1 + 1):
            for j in range(j0, j1 + 1):
                for i in range(i0, i1 + 1):
                    x, y, z = (
                        first[0] + size * (i + 0.5),
                        first[1] + size * (j + 0.5),
                        first[2] + size * (k + 0.5),
                    )
                    if capsule_distance(row, x, y, z) < 0.87 * size:
                        block = (k * counts[1] + j) * counts[0] + i
                        if write:
                            listed[start[block]] = c
                        start[block] += 1


def capsule_lists(capsules, first, size, counts):
    """Return (start, listed): block b holds listed[start[b]:start[b + 1]], in the order of the capsules."""
    number = np.zeros(int(np.prod(counts)), np.int64)
    _fill(capsules, first, size, counts, number, np.zeros(1, np.int32), False)
    start = np.concatenate([[0], np.cumsum(number)])
    listed = np.zeros(max(int(start[-1]), 1), np.int32)
    _fill(capsules, first, size, counts, start[:-1].copy(), listed, True)
    return start, listed
