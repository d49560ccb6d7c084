"""One needle axis against skin, canal and bones, compiled: the bare numbers of a check."""

import numpy as np

from meshes.compiled import kernel
from trainer.physics.needle import axis_from_skin
from trainer.physics.needle_axis import (
    DURA_LAYER,
    FLAVUM_LAYER,
    LONGEST_TRAVEL,
    THICKEST,
    ask_chart,
    crossing,
    fascia_crossing,
    first_contact,
    least_clearance,
    roof_crossing,
    touched_point,
    wall_crossing,
    window_edge,
)

WALK = 30.0  # [mm] to either side on the flavum
# Where check_axis writes; a missing crossing is nan.
ENTRY, DIRECTION, NORMAL = slice(0, 3), slice(3, 6), slice(6, 9)
FASCIA, FLAVUM, WALL, DURA = 9, 10, 11, 12
CONTACT, CONTACT_BONE, CONTACT_POINT = 13, 14, slice(15, 18)
CLEARANCE, CLEARANCE_AT, CLEARANCE_BONE = 18, 19, 20
STATION, THETA, RADIUS, GAP = 21, 22, 23, 24
FRAME = slice(25, 37)
EDGES = slice(37, 53)
FRONT, FRONT_BONE, FRONT_POINT = 53, 54, slice(55, 58)
FACTS = 58


@kernel
def check_axis(bones, layers, chart, place, length, radius, facts):
    """Fill `facts` (58,) of one needle.

    place (5,): x and z of the entry, sign of the side, approach, medial. Bone is looked for up to the
    epidural entry, or along the whole length where there is none.
    """
    facts[:] = np.nan
    line = axis_from_skin(layers[0], layers[3], place[0], place[1], place[2], place[3], place[4])
    for k in range(9):
        facts[k] = line[k]
    x, y, z, dx, dy, dz = line[0], line[1], line[2], line[3], line[4], line[5]
    axis = (x, y, z, dx, dy, dz)
    out, work = np.zeros(11), np.empty(52)
    reach = 200.0
    facts[9] = fascia_crossing(layers, axis, reach)
    near = roof_crossing(layers, axis, 0.0, reach, 2.0)
    stop = length
    if not np.isnan(near):
        facts[11] = wall_crossing(chart, axis, near, out, work)
    wall = facts[11]
    if not np.isnan(wall):
        stop = wall
        for layer in (FLAVUM_LAYER, DURA_LAYER):
            start, end, index = max(wall - THICKEST, 0.0), wall, 10
            if layer == DURA_LAYER:
                start, end, index = wall, wall + LONGEST_TRAVEL, 12
            facts[index] = crossing(chart, axis, layer, start, end, out, work)
        ask_chart(chart, axis, wall, out, work)
        for k in range(3):
            facts[21 + k] = out[8 + k]
        facts[24] = out[4]
        for k in range(12):
            facts[25 + k] = work[k]
        flavum = facts[10] if not np.isnan(facts[10]) else wall
        middle = 0.5 * (flavum + wall)
        point = (x + middle * dx, y + middle * dy, z + middle * dz)
        for k in range(4):
            along_x = 1.0 if k == 2 else (-1.0 if k == 3 else 0.0)
            along_z = 1.0 if k == 0 else (-1.0 if k == 1 else 0.0)
            ex, ey, ez, met = window_edge(bones, layers, point, along_x, along_z, WALK)
            e = 37 + 4 * k
            facts[e], facts[e + 1], facts[e + 2], facts[e + 3] = ex, ey, ez, met
    touch, bone = first_contact(bones, axis, stop, radius)
    facts[13], facts[14] = touch, bone
    if bone >= 0:
        sx, sy, sz = x + touch * dx, y + touch * dy, z + touch * dz
        facts[15], facts[16], facts[17] = touched_point(bones, bone, sx, sy, sz)
    facts[54] = -1.0
    if bone < 0 and not np.isnan(wall):
        touch, bone = first_contact(bones, axis, length, radius)
        facts[53], facts[54] = touch, bone
        if bone >= 0:
            sx, sy, sz = x + touch * dx, y + touch * dy, z + touch * dz
            facts[55], facts[56], facts[57] = touched_point(bones, bone, sx, sy, sz)
    facts[18], facts[19], facts[20] = least_clearance(bones, axis, stop, radius)
