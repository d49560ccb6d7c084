"""How a tip moves along a known line of tissues when the hand moves: cutting, friction, give. Compiled.

The hand holds the needle through a spring: its place x, the tip s and the end of the cut xi lie on one
line. Each step solves hand (x - s) = F_tip(s - xi) + F_friction, F_tip(q) = k1 q + k2 q^2; while F_tip
exceeds what the tissue at xi bears, the cut moves on. A tough sheet is a spike in that threshold: its give,
the plunge of the tip and the tenting of the dura (s - xi) follow from the balance alone, not from a script.

Splitting the force into puncture, cutting and friction: Okamura, Simone & O'Leary, IEEE Trans Biomed Eng
2004;51:1707 (from memory).
"""

import math

import numpy as np

from meshes.compiled import kernel
from trainer.physics.tissue_layers import (
    CUTTING,
    DURA,
    FLAVUM,
    FRICTION,
    GRIT,
    GRIT_PITCH,
    HARD,
    PEAK,
    STIFFENING,
    STIFFNESS,
)

CUT_STEP = 0.02  # [mm] by which a cut moves on
HAND_STEP = 0.05  # [mm] of the hand between two balances
BLEND = 0.35  # [mm] over which the stiffness of one tissue passes into that of the next
SHEET = 0.05  # [mm] of a sheet that bear its peak
HALVINGS = 44
# What a hand remembers: place of the hand, tip, end of the cut, creep of the shaft.
HAND, TIP, CUT, SLIP = range(4)
# What a drive is told: stiffness of the hand, place of bone, stiffness of bone, full creep, most force,
# factor of all forces, factor of the dura, first and last share of the flavum's threshold.
HAND_STIFFNESS, BONE_AT, BONE_STIFFNESS, FULL_SLIP, MOST_FORCE, FORCE, DURA_FACTOR, FIRST, LAST = range(9)
# Columns of what a drive reports, a row for each step of the hand.
AT_TIP, AT_CUT, TOTAL, TIP_FORCE, BONE_FORCE, HAND_AT = range(6)


@kernel
def tissue_index(starts, depth):
    """Return which tissue of a path lies at a depth."""
    i = starts.shape[0] - 1
    while i > 0 and starts[i] > depth:
        i -= 1
    return i


@kernel
def cutting_threshold(starts, codes, feel, grain, settings, depth):
    """Return the force that the tissue at a depth bears before it is cut. [N]"""
    i = tissue_index(starts, depth)
    code = codes[i]
    row = feel[code]
    factor = settings[FORCE] * (settings[DURA_FACTOR] if code == DURA else 1.0)
    if row[PEAK] > 0.0 and depth < starts[i] + SHEET:
        return row[PEAK] * factor
    # Bundles of fibres: the threshold climbs through one and falls at its end.
    bundle = depth / row[GRIT_PITCH]
    k = math.floor(bundle)
    shift = 0.5 * (grain[(k * 7 + code * 31) % grain.shape[0]] - 0.5)
    share = bundle - k - shift
    if share < 0.0:
        k, share = k - 1, share + 1.0
    height = 0.4 + 1.2 * grain[(k * 11 + code * 53 + 5) % grain.shape[0]]
    force = row[CUTTING] * (1.0 + row[GRIT] * (height * min(share, 1.0) - 0.5))
    if code == FLAVUM and i + 1 < starts.shape[0]:
        across = (depth - starts[i]) / max(starts[i + 1] - starts[i], 1e-6)
        force *= settings[FIRST] + (settings[LAST] - settings[FIRST]) * across
    return force * factor


@kernel
def tip_stiffness(starts, codes, feel, depth):
    """Return k1, k2 of the tissue at a depth, blended over its borders. [N/mm], [N/mm²]"""
    i = tissue_index(starts, depth)
    code = codes[i]
    k1, k2 = feel[code, STIFFNESS], feel[code, STIFFENING]
    other, share = code, 0.0
    if i > 0 and depth - starts[i] < BLEND:
        other, share = codes[i - 1], 0.5 - 0.5 * (depth - starts[i]) / BLEND
    elif i + 1 < starts.shape[0] and starts[i + 1] - depth < BLEND:
        other, share = codes[i + 1], 0.5 - 0.5 * (starts[i + 1] - depth) / BLEND
    if other in (HARD, DURA) or code in (HARD, DURA):
        return k1, k2
    return k1 + share * (feel[other, STIFFNESS] - k1), k2 + share * (feel[other, STIFFENING] - k2)


@kernel
def shaft_friction(starts, codes, feel, depth):
    """Return the full friction along the shaft at a depth of the tip. [N]"""
    total = 0.0
    for i in range(starts.shape[0]):
        if starts[i] >= depth:
            break
        end = starts[i + 1] if i + 1 < starts.shape[0] else depth
        total += feel[codes[i], FRICTION] * (min(end, depth) - starts[i])
    return total


@kernel
def _balance(place, stiffness, k1, k2, cut, tip, slip, full_slip, friction):
    """Return the tip at which the hand's spring balances tip force and friction."""
    low, high = min(place, tip) - 20.0, max(place, tip) + 20.0
    for _ in range(HALVINGS):
        m = 0.5 * (low + high)
        q = m - cut
        force = k1 * q + k2 * q * q if q > 0.0 else 0.0
        creep = min(max(slip + m - tip, -full_slip), full_slip)
        if stiffness * (place - m) - force - friction * creep / full_slip > 0.0:
            low = m
        else:
            high = m
    return 0.5 * (low + high)


@kernel
def drive(starts, codes, feel, grain, settings, memory, goal, until):
    """Move the hand to `goal` in steps, or until the tip has come to `until`; return a report (n, 6).

    `memory` (4,) is changed: hand, tip, end of the cut, creep. Rows of the report: tip, end of the cut,
    force on the hand, at the tip, of bone, place of the hand. Stops early at the most force that a hand
    gives.
    """
    stiffness, bone_at, full_slip = settings[HAND_STIFFNESS], settings[BONE_AT], settings[FULL_SLIP]
    place, tip, cut, slip = memory[0], memory[1], memory[2], memory[3]
    forward = goal >= place
    count = max(math.ceil(abs(goal - place) / HAND_STEP - 1e-9), 1)
    report = np.empty((count, 6))
    first, rows = place, 0
    for n in range(count):
        place = first + (goal - first) * (n + 1) / count
        before, creep = tip, slip
        while True:
            k1, k2 = tip_stiffness(starts, codes, feel, cut)
            friction = shaft_friction(starts, codes, feel, before)
            tip = _balance(place, stiffness, k1, k2, cut, before, creep, full_slip, friction)
            tip = min(tip, bone_at)
            q = max(tip - cut, 0.0)
            force = k1 * q + k2 * q * q
            if force <= cutting_threshold(starts, codes, feel, grain, settings, cut) + 1e-9:
                break
            cut = min(cut + CUT_STEP, max(tip, cut))
        slip = min(max(creep + tip - before, -full_slip), full_slip)
        rubbing = friction * slip / full_slip
        pressed = 0.0
        if tip >= bone_at:
            pressed = stiffness * (place - tip) - force - rubbing
            pressed = max(pressed, 0.0) / (1.0 + stiffness / settings[BONE_STIFFNESS])
        total = force + rubbing + pressed
        report[n, 0], report[n, 1], report[n, 2], report[n, 3] = tip, cut, total, force
        report[n, 4], report[n, 5] = pressed, place
        rows = n + 1
        if forward and (total >= settings[MOST_FORCE] or tip >= until):
            break
        if not forward and tip <= until:
            break
    memory[0], memory[1], memory[2], memory[3] = place, tip, cut, slip
    return report[:rows].copy()
