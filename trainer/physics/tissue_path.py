"""Which tissues lie along a straight line through the back, and where each begins. Compiled.

A path is the pair (starts, codes): distances along the line at which a tissue begins, and its number. Beds of
surgery, hollows and clefts are looked up in the marks of a NeedleScene.
"""

import math

import numpy as np

from meshes.compiled import kernel
from meshes.soft_tissue import canal_height, fascia_height, skin_frame
from trainer.physics.needle_axis import ask_chart
from trainer.physics.tissue_layers import (
    CORD,
    DURA,
    EPIDURAL,
    FASCIA,
    FAT,
    FLAVUM,
    FLUID,
    FRONT,
    HARD,
    INTERSPINOUS,
    MUSCLE,
    OUTSIDE,
    POCKET,
    SCAR,
    SKIN,
)

FINE = 1e-4  # [mm] a border is searched to this
CLOSE, WIDE = 0.2, 2.0  # [mm] between samples, near a border and far from one
NEAR_CANAL = 16.0  # [mm] behind the canal's wall, where the chart is asked
MOST = 48  # tissues along one line
DORSAL = 1.4  # [rad] how far round the canal a flavum reaches


@kernel
def _cord_room(chart, cord, out):
    """Return how far the point last asked lies outside the cord, roughly; negative inside. [mm]"""
    p = min(max((out[8] - chart[3][0]) / chart[3][1], 0.0), cord.shape[0] - 1.000001)
    i = int(p)
    v = p - i
    depth = cord[i, 2] * (1.0 - v) + cord[i + 1, 2] * v
    width = cord[i, 3] * (1.0 - v) + cord[i + 1, 3] * v
    if depth < 0.3 or width < 0.3:
        return WIDE
    dorsal = out[10] * math.cos(out[9]) - cord[i, 0] * (1.0 - v) - cord[i + 1, 0] * v
    left = out[10] * math.sin(out[9]) - cord[i, 1] * (1.0 - v) - cord[i + 1, 1] * v
    return (math.sqrt((dorsal / depth) ** 2 + (left / width) ** 2) - 1.0) * min(depth, width)


@kernel
def scar_at(beds, station, theta):
    """Return how dense the scar of surgery is at a place of the canal, -1 where none has been done."""
    found = -1.0
    for b in range(beds.shape[0]):
        along, round_it = beds[b, 0] <= station <= beds[b, 1], abs(theta) <= beds[b, 2]
        if along and round_it and beds[b, 3] * theta >= 0.0:
            found = max(found, beds[b, 4])
    return found


@kernel
def _behind_canal(chart, marks, out, lateral, below_fascia):
    """Return the tissue of a point below the fascia and outside the wall, and how near a border is."""
    spaces, beds, sizes = marks[0], marks[2], marks[3]
    behind, station, theta = -out[0], out[8], out[9]
    if abs(theta) > DORSAL:
        return FRONT, CLOSE
    if behind < sizes[3] and scar_at(beds, station, theta) >= 0.0:
        return SCAR, 0.5 * min(behind, sizes[3] - behind)
    thickness = chart[4]
    p = min(max((station - chart[3][0]) / chart[3][1], 0.0), thickness.shape[0] - 1.000001)
    i = int(p)
    thick = thickness[i] + (thickness[i + 1] - thickness[i]) * (p - i)
    room = 0.5 * min(abs(behind - thick), behind)
    offset = out[10] * math.sin(theta)
    for k in range(spaces.shape[0]):
        if not spaces[k, 0] <= station <= spaces[k, 1]:
            continue
        if behind <= thick:
            gone = spaces[k, 2] if offset > 0.0 else spaces[k, 3]
            if gone == 0.0:
                if spaces[k, 4] > 0.0:
                    return HARD, room
                return (POCKET, CLOSE) if abs(offset) < spaces[k, 5] else (FLAVUM, room)
        elif spaces[k, 6] <= behind <= spaces[k, 7] and spaces[k, 7] > 0.0:
            return POCKET, CLOSE
        room = min(room, 0.5 if spaces[k, 7] > 0.0 else 1.0)
    if abs(lateral) < sizes[2]:
        return INTERSPINOUS, min(room, 0.7 * (sizes[2] - abs(lateral)))
    return MUSCLE, min(room, 0.7 * (abs(lateral) - sizes[2]), max(below_fascia, CLOSE))


@kernel
def tissue_at(layers, chart, marks, x, y, z, out, work):
    """Return the number of the tissue at a point and a step that does not miss the next border."""
    sizes = marks[3]
    skin = skin_frame(layers[0], layers[3], x, z)
    under = (skin[0] - y) * skin[2]
    if under < -1e-6:
        return OUTSIDE, max(-under, CLOSE)
    fascia, _, _, row, _ = fascia_height(layers[0], layers[3], x, z)
    below = fascia - y
    if below < 0.0:
        if under < sizes[0]:
            return SKIN, 0.5 * (sizes[0] - under)
        return FAT, 0.5 * min(-below, under - sizes[0])
    roof = canal_height(layers[1], layers[2], layers[3], 0, x, z)
    lateral = x - row
    if y - roof < NEAR_CANAL:
        out[8] = 0.0
        ask_chart(chart, (x, y, z, 0.0, 0.0, 0.0), 0.0, out, work)
        # The plane of the processes leads from the row of their tips to the middle of the canal.
        share = min(max(below / max(fascia - roof, 1.0), 0.0), 1.0)
        lateral = (1.0 - share) * lateral + share * out[10] * math.sin(out[9])
        if out[0] > 0.0:
            if out[4] > 0.0:
                return EPIDURAL, 0.5 * min(out[0], out[4])
            room = _cord_room(chart, marks[1], out)
            return (CORD, -0.5 * room) if room < 0.0 else (FLUID, 0.5 * min(room, -out[4]))
    if below < sizes[1]:
        return FASCIA, 0.5 * min(below, sizes[1] - below)
    if y - roof < NEAR_CANAL:
        return _behind_canal(chart, marks, out, lateral, below)
    room = min(0.5 * (y - roof - NEAR_CANAL + 1.0), 0.5 * (below - sizes[1]) + CLOSE)
    if abs(lateral) < sizes[2]:
        return INTERSPINOUS, min(room, 0.7 * (sizes[2] - abs(lateral)))
    return MUSCLE, min(room, 0.7 * (abs(lateral) - sizes[2]))


@kernel
def trace_tissue(layers, chart, marks, axis, start, stop):
    """Return (starts, codes) of the tissues along an axis from `start` to `stop`, in order.

    The front of the canal is the last one. Where the line passes into the sac a sheet of dura is put in.
    Borders are found to 1e-4 mm; a piece of tissue thinner than 0.2 mm along the line can be missed.
    """
    x, y, z, dx, dy, dz = axis
    starts, codes, out, work = np.empty(MOST), np.empty(MOST, np.int64), np.zeros(11), np.empty(52)
    t = start
    code, room = tissue_at(layers, chart, marks, x + t * dx, y + t * dy, z + t * dz, out, work)
    starts[0], codes[0], count = t, code, 1
    while t < stop and code != FRONT and count < MOST - 2:
        following = t + min(max(room, CLOSE), WIDE)
        c, room = tissue_at(
            layers, chart, marks, x + following * dx, y + following * dy, z + following * dz, out, work
        )
        if c == code:
            t = following
            continue
        a, b, met = t, following, c
        while b - a > FINE:
            m = 0.5 * (a + b)
            c, _ = tissue_at(layers, chart, marks, x + m * dx, y + m * dy, z + m * dz, out, work)
            if c == code:
                a = m
            else:
                b, met = m, c
        if met in (FLUID, CORD) and code not in (FLUID, CORD, DURA):
            starts[count], codes[count] = b, DURA
            b += marks[3][4]
            count += 1
        starts[count], codes[count] = b, met
        count += 1
        t, code, room = b + FINE, met, CLOSE
    return starts[:count].copy(), codes[:count].copy()
