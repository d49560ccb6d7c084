"""What a straight axis meets, and where: layers of the back, canal, dura, bone. Compiled.

Arrays travel in three tuples:
bones (values, table) of PackedBones: bones, implants, hardened ligaments;
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
PATIENCE, SEARCHES, GRAZING = 400, 40000, 0.01  # [1], [1], [mm] between samples close beside bone
COARSE = 4.0  # [mm] between the first samples of the clearance
SLACK = 0.02  # [mm] the least clearance is certified to this
SURE = 4.5  # [mm] below this a clearance is a distance, above only a lower bound
QUEUE = 600
WALL_LAYER, FLAVUM_LAYER, DURA_LAYER = 0, 1, 2
BEFORE, BEYOND, STRIDE = 3.0, 8.0, 1.0  # [mm] about the height field's crossing, where the chart is searched
THICKEST = 12.0  # [mm] of flavum along an axis
LONGEST_TRAVEL = 40.0  # [mm] across the epidural space
LEFT_CANAL = -2.0  # [mm] an axis so far outside the wall will not meet the dura


def arrays_of(anatomy):
    """Return the tuples bones, layers, chart that the kernels of a needle ask."""
    obstacles, tissue, canal = anatomy.obstacles, anatomy.tissue, anatomy.canal
    bones = (obstacles.values, obstacles.table)
    layers = (tissue.profile, tissue.heights, tissue.guide, tissue.scale)
    chart = (canal.frame_coefficients, canal.surface_coefficients, canal.height_table, canal.params)
    return bones, layers, (*chart, canal.flavum_thickness)


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
    """Return how far the point last asked keeps from a layer: wall, back of the flavum, or dura.

    Positive before the layer, negative past it, for an axis that comes from behind.
    """
    if layer == DURA_LAYER:
        return out[4]
    if layer == WALL_LAYER:
        return -out[0]
    thickness = chart[4]
    p = min(max((out[8] - chart[3][0]) / chart[3][1], 0.0), thickness.shape[0] - 1.000001)
    i = int(p)
    return -out[0] - (thickness[i] + (thickness[i + 1] - thickness[i]) * (p - i))


@kernel
def crossing(chart, axis, layer, start, stop, out, work):
    """Return where the axis passes a layer first, from `start` on; nan where it does not before `stop`.

    Returns `start` itself where that lies past the layer already. Marches by the room left, then closes in
    with the Illinois method: an end kept twice counts half, so that both ends move.
    """
    a, before, b, past, t, found = start, 0.0, start, 0.0, start, False
    for _ in range(500):
        ask_chart(chart, axis, t, out, work)
        room = layer_room(chart, layer, out)
        if not found:
            if room > 0.0:
                if t >= stop or (layer == DURA_LAYER and out[0] < LEFT_CANAL):
                    return np.nan
                a, before = t, room
                t = a + min(max(0.8 * room, 0.02), STRIDE)
                continue
            if t <= start:
                return start
            found, b, past = True, t, room
        elif room > 0.0:
            a, before, past = t, room, 0.5 * past
        else:
            b, past, before = t, room, 0.5 * before
        if b - a < FINE or abs(room) < FINE:
            break
        t = a + (b - a) * before / (before - past)
        if not a < t < b:
            t = 0.5 * (a + b)
    return t


@kernel
def wall_crossing(chart, axis, near, out, work):
    """Return where the axis enters the canal's wall, near the height field's answer; nan if nowhere."""
    out[8] = 0.0
    start, t = max(near - BEFORE, 0.0), np.nan
    for _ in range(6):
        t = crossing(chart, axis, WALL_LAYER, start, near + BEYOND, out, work)
        if not t <= start or start == 0.0:
            break
        start = max(start - BEFORE, 0.0)
    return t


@kernel
def first_contact(bones, axis, stop, radius):
    """Return (t, bone) where a round-tipped shaft first touches bone, or (nan, -1).

    Beside bone that it all but grazes the shaft goes on in steps of 0.01 mm after a while, so that the search
    always comes to the end.
    """
    x, y, z, dx, dy, dz = axis
    t, least = 0.0, 0.0
    for k in range(SEARCHES):
        room, bone = nearest_bone(bones[0], bones[1], x + t * dx, y + t * dy, z + t * dz, True)
        room -= radius
        if room < TOUCH:
            return t, bone
        if k == PATIENCE:
            least = GRAZING
        t += max(room, least)
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
def window_edge(bones, layers, point, along_x, along_z, stop):
    """Walk in the flavum from a point (x, y, z) in it along (along_x, along_z) until bone.

    The walk keeps as far behind the canal's wall as the point is. Returns (x, y, z, bone), bone -1 where
    none is met within `stop`.
    """
    x, y, z = point
    lift = y - canal_height(layers[1], layers[2], layers[3], 0, x, z)
    s, bone = 0.0, -1
    while True:
        px, pz = x + s * along_x, z + s * along_z
        py = canal_height(layers[1], layers[2], layers[3], 0, px, pz) + lift
        room, bone = nearest_bone(bones[0], bones[1], px, py, pz, False)
        if room < 0.05:
            break
        s += max(0.6 * room, 0.05)
        if s > stop:
            bone = -1
            break
    return px, py, pz, bone
