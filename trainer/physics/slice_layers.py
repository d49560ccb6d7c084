"""Soft tissue by layers: compiled look-ups over the back, and what lies behind and in front of the spine.

Muscle, fat and ligament behind the laminae follow the anatomy's fascia and row of processes; chest and belly
are drawn for orientation only.
"""

import math

from meshes.compiled import kernel
from trainer.physics.slice_tissues import (
    FAT,
    INTERSPINOUS,
    LIGAMENT,
    LUNG,
    MUSCLE,
    ORGAN,
)


@kernel
def along_rows(rows, first, z, column):
    """Return what a column of `rows` holds at height z."""
    p = min(max(z - first, 0.0), rows.shape[0] - 1.001)
    i = int(p)
    return rows[i, column] + (p - i) * (rows[i + 1, column] - rows[i, column])


@kernel
def on_map(maps, facts, x, z, layer):
    """Return y of the skin (0) or the fascia (1) at (x, z)."""
    p = min(max((x - facts[0]) / facts[2], 0.0), maps.shape[1] - 1.001)
    q = min(max((z - facts[1]) / facts[2], 0.0), maps.shape[0] - 1.001)
    i, j = int(p), int(q)
    u, v = p - i, q - j
    low = maps[j, i, layer] * (1.0 - u) + maps[j, i + 1, layer] * u
    high = maps[j + 1, i, layer] * (1.0 - u) + maps[j + 1, i + 1, layer] * u
    return low * (1.0 - v) + high * v


@kernel
def texture_at(field, x, y, z):
    """Return the texture, which repeats every 64 steps, linear between its points."""
    i, j, k = math.floor(x), math.floor(y), math.floor(z)
    u, v, w = x - i, y - j, z - k
    i0, j0, k0 = int(i) & 63, int(j) & 63, int(k) & 63
    i1, j1, k1 = (i0 + 1) & 63, (j0 + 1) & 63, (k0 + 1) & 63
    low = (field[k0, j0, i0] * (1.0 - u) + field[k0, j0, i1] * u) * (1.0 - v)
    low += (field[k0, j1, i0] * (1.0 - u) + field[k0, j1, i1] * u) * v
    high = (field[k1, j0, i0] * (1.0 - u) + field[k1, j0, i1] * u) * (1.0 - v)
    high += (field[k1, j1, i0] * (1.0 - u) + field[k1, j1, i1] * u) * v
    return low * (1.0 - w) + high * w


@kernel
def ramp(value, low, high):
    return min(max((value - low) / (high - low), 0.0), 1.0)


@kernel
def _behind(s, y, z, fascia, beside, nearest, wave):
    """Return the soft tissue between the bones of the spine and the deep fascia."""
    if s < 3.4 and y > fascia - 3.0:
        return LIGAMENT, LIGAMENT, 0.0
    if s < 2.3:
        return INTERSPINOUS, INTERSPINOUS, 0.0
    if y > fascia - 0.8:
        return LIGAMENT, LIGAMENT, 0.0
    if beside:
        return FAT, MUSCLE, 0.15
    # Fat lies between the deep muscle and bone, and in the clefts between the muscles; more of it caudally.
    low = ramp(z, 110.0, -20.0)
    share = 0.04 + 0.10 * low + 0.04 * max(wave, 0.0)
    if nearest < 1.2:
        share = max(share, 0.35 + 0.2 * wave)
    depth = fascia - y
    cleft = abs(s - 17.0 - 0.3 * depth - 1.8 * wave)
    if cleft < 1.5:
        share = max(share, (0.75 - 0.4 * cleft) * ramp(wave, -1.6, 0.4))
    cleft = abs(s - 40.0 + 0.15 * depth - 2.2 * wave)
    if cleft < 1.1:
        share = max(share, (0.6 - 0.4 * cleft) * ramp(wave, -1.4, 0.8))
    return MUSCLE, FAT, min(max(share, 0.0), 0.8)


@kernel
def _in_front(facts, s, behind, z, nearest, rim, wave):
    """Return what lies in front of the transverse processes: chest, loin or belly."""
    fat = facts[5] + facts[2] + 1.5 * wave
    if rim < fat + 3.0:
        return FAT, FAT, 0.0
    if rim < fat + 17.0:
        return MUSCLE, FAT, 0.12
    scale, diaphragm = facts[4], facts[3]
    base = diaphragm - 14.0 + 0.75 * max(-behind - 12.0, 0.0) + 2.0 * wave
    # The dome stands highest half way to the side.
    base += 16.0 * math.exp(-(((s / scale - 48.0) / 26.0) ** 2))
    if z > base:
        share = ramp(-behind, 36.0, 80.0)
        middle = 13.0 + 34.0 * share * share + 1.2 * wave
        if s > middle * scale and nearest > 3.0:
            return LUNG, LUNG, 0.0
        return (ORGAN, ORGAN, 0.0) if behind < (-58.0 + 2.0 * wave) * scale else (FAT, MUSCLE, 0.25)
    # The fat behind the belly lies round spine, vessels and kidneys.
    round_spine = (s / 92.0) ** 2 + (behind / 58.0) ** 2
    if round_spine < (1.0 + 0.08 * wave) * scale:
        return FAT, FAT, 0.0
    return ORGAN, FAT, 0.25


@kernel
def layers(facts, s, y, z, behind, skin_depth, fascia, reach, nearest, beside, wave):
    """Return the tissue of a point that lies in no bone, canal, disc or chain."""
    if y > fascia:
        return FAT, FAT, 0.0
    if behind > 5.0 + 0.12 * s + 1.3 * wave:
        if s < reach + 1.5 * wave - 0.012 * (fascia - 22.0 - y) ** 2:
            return _behind(s, y, z, fascia, beside, nearest, wave)
        flank = skin_depth < facts[5] + facts[2] + 15.0 + 2.0 * wave
        if flank or (s > 42.0 and z < 36.0 + 5.0 * wave - 0.12 * (s - 42.0)):
            return MUSCLE, FAT, 0.15
        return FAT, MUSCLE, 0.1
    if beside:
        return FAT, FAT, 0.0
    return _in_front(facts, s, behind, z, nearest, skin_depth, wave)
