"""What a straight axis meets, and where: layers of the back, canal, dura, bone. Compiled.

Arrays travel in three tuples:
bones (values, table) of PackedBones;
layers (profile, heights, guide, scale) of SoftTissue;
chart (frame_coefficients, surface_coefficients, height_table, params, flavum_thickness) of CanalChart.
An axis is the tuple (x, y, z, dx, dy, dz): its point at distance t lies at (x + t dx, ...).
"""

import math

import numpy as np

from meshes.canal_kernels import chart_contact
from meshes.compiled import kernel
from meshes.distance import distance_to_bone, nearest_bone
from meshes.soft_tissue import canal_height, fascia_height

FINE = 1e-7  # [mm] a crossing is searched to this
TOUCH = 2e-3  # [mm] nearer than this counts as contact
COARSE = 4.0  # [mm] between the first samples of the clearance
SLACK = 0.02  # [mm] the least clearance is certified to this
SURE = 4.5  # [mm] below this a clearance is a distance, above only a lower bound
QUEUE = 600
BEFORE, BEYOND, STRIDE = 3.0, 8.0, 0.5  # [mm] about the height field's crossing, where the chart is searched
LONGEST_TRAVEL = 40.0  # [mm] across the epidural space


@kernel
def roof_crossing(layers, axis, start, stop, step):
    """Return where the axis first passes below the dorsal wall, as the height field sees it, or nan."""
    x, y, z, dx, dy, dz = axis
    heights, guide, scale = layers[1], layers[2], layers[3]
    a, above = start, y + start * dy - canal_height(heights, guide, scale, 0, x + start * dx, z + start * dz)
    while above > 0.0:
        if a >= stop:
            return np.nan
        b = a + step
        next_above = y + b * dy - canal_height(heights, guide, scale, 0, x + b * dx, z + b * dz)
        if next_above <= 0.0:
            for _ in range(40):
                # Secant, kept off the ends: the wall is rough but single-valued.
                m = a + (b - a) * min(max(above / (above - next_above), 0.1), 0.9)
                f = y + m * dy - canal_height(heights, guide, scale, 0, x + m * dx, z + m * dz)
                if f <= 0.0:
                    b, next_above = m, f
                else:
                    a, above = m, f
                if b - a < 1e-4:
                    break
            return b
        a, above = b, next_above
    return a


@kernel
def fascia_crossing(layers, axis, stop):
    """Return where the axis first passes below the fascia; nan if nowhere before `stop`."""
    x, y, z, dx, dy, dz = axis
    a, b = 0.0, 0.0
    while y + b * dy > fascia_height(layers[0], layers[3], x + b * dx, z + b * dz)[0]:
        if b >= stop:
            return np.nan
        a, b = b, b + 1.0
    while b - a > FINE:
        m = 0.5 * (a + b)
        if y + m * dy > fascia_height(layers[0], layers[3], x + m * dx, z + m * dz)[0]:
            a = m
        else:
            b = m
    return 0.5 * (a + b)


@kernel
def ask_chart(chart, axis, t, out, work):
    """Write chart_contact of the axis at t; a station already in `out` is the first guess."""
    x, y, z, dx, dy, dz = axis
    px, py, pz = x + t * dx, y + t * dy, z + t * dz
    chart_contact(chart[0], chart[1], chart[2], chart[3], px, py, pz, out[8], out, work)


@kernel
def layer_room(chart, layer, out):
    """Return how far the point last asked keeps from a layer: 0 wall, 1 back of the flavum, 2 dura.

    Positive before the layer, negative past it, for an axis that comes from behind.
    """
    if layer == 2:
        return out[4]
    if layer == 0:
        return -out[0]
    thickness = chart[4]
    p = min(max((out[8] - chart[3][0]) / chart[3][1], 0.0), thickness.shape[0] - 1.000001)
    i = int(p)
    return -out[0] - (thickness[i] + (thickness[i + 1] - thickness[i]) * (p - i))


@kernel
def refine(chart, axis, layer, a, b, out, work):
    """Return the crossing of a layer between a (before it) and b (past it), leaving its answer in `out`."""
    ask_chart(chart, axis, a, out, work)
    before = layer_room(chart, layer, out)
    ask_chart(chart, axis, b, out, work)
    past = layer_room(chart, layer, out)
    m = b
    for _ in range(60):
        if b - a < FINE:
            break
        m = a + (b - a) * before / (before - past)
        if not a < m < b:
            m = 0.5 * (a + b)
        ask_chart(chart, axis, m, out, work)
        room = layer_room(chart, layer, out)
        # Illinois: a value kept twice counts half, so that both ends move.
        if room > 0.0:
            a, before, past = m, room, 0.5 * past
        else:
            b, past, before = m, room, 0.5 * before
        if abs(room) < FINE:
            break
    return m


@kernel
def wall_crossing(chart, axis, near, out, work):
    """Return where the axis enters the canal's wall, near the height field's answer; nan if nowhere."""
    out[8] = 0.0
    b = max(near - BEFORE, 0.0)
    ask_chart(chart, axis, b, out, work)
    while layer_room(chart, 0, out) <= 0.0 and b > 0.0 and b > near - 15.0:
        b -= 1.0
        ask_chart(chart, axis, b, out, work)
    a = b
    while layer_room(chart, 0, out) > 0.0:
        if b > near + BEYOND:
            return np.nan
        a, b = b, b + STRIDE
        ask_chart(chart, axis, b, out, work)
    return refine(chart, axis, 0, a, b, out, work)


@kernel
def flavum_crossing(chart, axis, wall, out, work):
    """Return where the axis enters the back of the flavum, before it reaches the wall at `wall`."""
    a, b = wall, wall
    ask_chart(chart, axis, a, out, work)
    while layer_room(chart, 1, out) <= 0.0:
        if a <= 0.0 or wall - a > 25.0:
            return np.nan
        a, b = a - STRIDE, a
        ask_chart(chart, axis, a, out, work)
    return refine(chart, axis, 1, a, b, out, work)


@kernel
def dura_crossing(chart, axis, wall, out, work):
    """Return where the axis meets the dura past the wall; nan where it leaves the canal without."""
    a = wall
    ask_chart(chart, axis, a, out, work)
    while a - wall < LONGEST_TRAVEL:
        b = a + min(max(0.8 * out[4], 0.02), 1.0)
        ask_chart(chart, axis, b, out, work)
        if out[4] <= 0.0:
            return refine(chart, axis, 2, a, b, out, work)
        if out[0] < -2.0:
            return np.nan
        a = b
    return np.nan


@kernel
def first_contact(bones, axis, stop, radius):
    """Return (t, bone) where a round-tipped shaft first touches bone, or (nan, -1)."""
    x, y, z, dx, dy, dz = axis
    t = 0.0
    for _ in range(400):
        room, bone = nearest_bone(bones[0], bones[1], x + t * dx, y + t * dy, z + t * dz, True)
        room -= radius
        if room < TOUCH:
            return t, bone
        t += room
        if t > stop:
            break
    return np.nan, -1


@kernel
def least_clearance(bones, axis, stop, radius):
    """Return (clearance, t, bone) where the shaft comes nearest to bone on the way to `stop`.

    Certified within 0.02 mm below 4.5 mm: distance changes by no more than 1 mm a mm, so that between
    samples f(a), f(b) it cannot fall below (f(a) + f(b) - (b - a)) / 2; only gaps that could hold less
    than the best so far are halved.
    """
    x, y, z, dx, dy, dz = axis
    gaps = np.empty((QUEUE, 4))
    count = int(stop / COARSE) + 2
    best, place, holder, waiting, before = 1e9, 0.0, -1, 0, 0.0
    for i in range(min(count, QUEUE // 2)):
        t = stop * i / (count - 1)
        room, bone = nearest_bone(bones[0], bones[1], x + t * dx, y + t * dy, z + t * dz, True)
        if room < best:
            best, place, holder = room, t, bone
        if i > 0:
            gaps[waiting, 0], gaps[waiting, 1] = stop * (i - 1) / (count - 1), before
            gaps[waiting, 2], gaps[waiting, 3] = t, room
            waiting += 1
        before = room
    while waiting > 0:
        waiting -= 1
        a, fa, b, fb = gaps[waiting, 0], gaps[waiting, 1], gaps[waiting, 2], gaps[waiting, 3]
        if 0.5 * (fa + fb - (b - a)) >= best - SLACK or b - a < 1e-3 or waiting > QUEUE - 3:
            continue
        t = 0.5 * (a + b)
        room, bone = nearest_bone(bones[0], bones[1], x + t * dx, y + t * dy, z + t * dz, True)
        if room < best:
            best, place, holder = room, t, bone
        gaps[waiting, 2], gaps[waiting, 3] = t, room
        gaps[waiting + 1, 0], gaps[waiting + 1, 1], gaps[waiting + 1, 2], gaps[waiting + 1, 3] = (
            t,
            room,
            b,
            fb,
        )
        waiting += 2
    return best - radius, place, holder


@kernel
def touched_point(bones, bone, x, y, z):
    """Return the point of a bone's surface nearest to (x, y, z), which lies close to it."""
    e = 0.2
    room = distance_to_bone(bones[0], bones[1], bone, x, y, z, True)
    gx = distance_to_bone(bones[0], bones[1], bone, x + e, y, z, True) - room
    gy = distance_to_bone(bones[0], bones[1], bone, x, y + e, z, True) - room
    gz = distance_to_bone(bones[0], bones[1], bone, x, y, z + e, True) - room
    length = math.sqrt(gx * gx + gy * gy + gz * gz) + 1e-12
    return x - room * gx / length, y - room * gy / length, z - room * gz / length


@kernel
def window_edge(bones, layers, x, z, along_x, along_z, stop):
    """Walk on the middle of the flavum from (x, z) along (along_x, along_z) until bone.

    Returns (x, y, z, bone), bone -1 where none is met within `stop`.
    """
    heights, guide, scale = layers[1], layers[2], layers[3]
    s, y = 0.0, 0.0
    while s < stop:
        px, pz = x + s * along_x, z + s * along_z
        y = canal_height(heights, guide, scale, 0, px, pz)
        gx = 0.5 * (
            canal_height(heights, guide, scale, 0, px + 1.0, pz)
            - canal_height(heights, guide, scale, 0, px - 1.0, pz)
        )
        gz = 0.5 * (
            canal_height(heights, guide, scale, 0, px, pz + 1.0)
            - canal_height(heights, guide, scale, 0, px, pz - 1.0)
        )
        row = min(max(int((pz - scale[0]) / scale[1]), 0), guide.shape[0] - 1)
        y += 0.5 * guide[row, 10] * math.sqrt(1.0 + gx * gx + gz * gz)
        room, bone = nearest_bone(bones[0], bones[1], px, y, pz, False)
        if room < 0.05:
            return px, y, pz, bone
        s += max(0.6 * room, 0.05)
    return x + stop * along_x, y, z + stop * along_z, -1
