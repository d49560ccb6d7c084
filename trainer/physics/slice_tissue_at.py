"""Which tissue lies at a point: compiled, from bones, chart, discs, chains and layers, in that order.

Every answer is (tissue, other, share): the point is made of `tissue` with a share of `other` in it. Points
are asked a row at a time: the tables are many, and handing them over costs more than one answer.
"""

import math

from meshes.compiled import kernel
from meshes.distance import ROTATION, TRANSLATION, distance_to_bone
from trainer.physics.slice_layers import along_rows, layers, on_map, ramp, texture_at
from trainer.physics.slice_lists import capsule_distance
from trainer.physics.slice_tissues import (
    AIR,
    ANNULUS,
    CORD,
    CORTEX,
    DURA,
    EPIDURAL_FAT,
    FAT,
    FLAVUM,
    FLUID,
    LIGAMENT,
    MARROW,
    METAL,
    NUCLEUS,
    ROOT,
    SKIN,
)

FAR = 6.0
HALF_SECTOR = 1.082  # [rad] to either side of the midline that a flavum covers, as it is meshed
DURA_THICKNESS = 0.35  # [mm]
VENTRAL = 2.1  # [rad] from dorsal beyond which the wall is that of body and disc
NUCLEUS_SHARE = 0.68  # of a disc's radius
THINNEST_CORD = 0.3  # [mm] half axis below which the cord has ended, as it is meshed
CHARTED = 1.5  # [mm] along the axis that a point may lie off its own station: beyond, the chart has ended
CHART_BEGINS, CHART_REACH = 5.0, 24.0  # [mm] first station that is read, and how far from the axis
DISHED, WIDEST_DISC = 5.0, 40.0  # [mm]
DRAWN_RADIUS = 5.0  # [mm] from which a chain is one of vessels, muscles or kidneys
WAVE = 7.0  # [mm] between points of the texture that makes drawn borders uneven


@kernel
def _in_bone(row, facts, cortex, depth, x, y, z, cortex_scale):
    """Return the tissue inside a bone, `depth` [mm] under its surface."""
    dx, dy, dz = x - row[TRANSLATION], y - row[TRANSLATION + 1], z - row[TRANSLATION + 2]
    bx = row[ROTATION] * dx + row[ROTATION + 3] * dy + row[ROTATION + 6] * dz
    by = row[ROTATION + 1] * dx + row[ROTATION + 4] * dy + row[ROTATION + 7] * dz
    bz = row[ROTATION + 2] * dx + row[ROTATION + 5] * dy + row[ROTATION + 8] * dz
    wall = facts[0]
    # The veins of the body gather in the middle of its posterior wall.
    along = (wall + 0.8 - by) / (0.5 * facts[2])
    if facts[3] == 0.0 and 0.0 < along < 1.0:
        high, wide = 1.5 * (1.0 - along), 2.6 + 2.0 * along
        if abs(bz - 0.4) < high and abs(bx) < wide:
            return MARROW, EPIDURAL_FAT, 0.6 * (1.0 - along)
    arch = ramp(by, wall - 0.5, wall + 3.0)
    plate = ramp(abs(bz), facts[1] - 3.5, facts[1] - 1.5)
    thickness = (1.0 - arch) * (cortex[6] + (cortex[7] - cortex[6]) * plate) + arch * cortex[8]
    if depth < thickness * cortex_scale:
        return CORTEX, CORTEX, 0.0
    return MARROW, FAT, 0.35 * arch


@kernel
def _chain_tissue(start, listed, capsules, block, x, y, z, wave):
    """Return the tissue of the last chain that holds a point, -1 without one."""
    found = -1
    for k in range(start[block], start[block + 1]):
        row = capsules[listed[k]]
        # What was drawn and not measured is not drawn with a ruler.
        slack = wave if row[6] > DRAWN_RADIUS else 0.0
        if capsule_distance(row, x, y, z) < slack:
            found = int(row[8])
    return found


@kernel
def _station(frames, guess, x, y, z):
    """Return the station of a point, and how far off it the point still lies along the axis. [mm]

    Stations are 1 mm apart; between them the frame is linear, within 0.01 mm of the chart's own curve.
    """
    p, off = guess, 0.0
    for _ in range(3):
        p = min(max(p, 0.0), frames.shape[0] - 1.001)
        i = int(p)
        w = p - i
        low, high = frames[i], frames[i + 1]
        off = 0.0
        for k in range(3):
            rest = (x if k == 0 else y if k == 1 else z) - low[k] - w * (high[k] - low[k])
            off += rest * (low[3 + k] + w * (high[3 + k] - low[3 + k]))
        p += off
    return p - off, off


@kernel
def _in_canal(frames, radii, along, p, x, y, z, chain):
    """Return the tissue within the canal's wall or of its ligaments; tissue -1 outside, -2 beside it.

    `p` is the station; `frames` holds centre, tangent, left, dorsal, `radii` dura and wall over the angle.
    """
    i = int(p)
    w = p - i
    low, high = frames[i], frames[i + 1]
    rx = x - low[0] - w * (high[0] - low[0])
    ry = y - low[1] - w * (high[1] - low[1])
    rz = z - low[2] - w * (high[2] - low[2])
    r = math.sqrt(rx * rx + ry * ry + rz * rz)
    if r > CHART_REACH:
        return -1, 0, 0.0
    a = (low[6] + w * (high[6] - low[6])) * rx
    a += (low[7] + w * (high[7] - low[7])) * ry + (low[8] + w * (high[8] - low[8])) * rz
    b = (low[9] + w * (high[9] - low[9])) * rx
    b += (low[10] + w * (high[10] - low[10])) * ry + (low[11] + w * (high[11] - low[11])) * rz
    theta = math.atan2(a, b)
    q = theta / (2.0 * math.pi) * radii.shape[1]
    if q < 0.0:
        q += radii.shape[1]
    j = int(q) % radii.shape[1]
    g, v = (j + 1) % radii.shape[1], q - int(q)
    near, far = (1.0 - w) * (1.0 - v), w * (1.0 - v)
    dura = radii[i, j, 0] * near + radii[i + 1, j, 0] * far
    dura += (radii[i, g, 0] * (1.0 - w) + radii[i + 1, g, 0] * w) * v
    wall = radii[i, j, 1] * near + radii[i + 1, j, 1] * far
    wall += (radii[i, g, 1] * (1.0 - w) + radii[i + 1, g, 1] * w) * v
    if r < dura:
        wide = along[i, 0] * (1.0 - w) + along[i + 1, 0] * w
        deep = along[i, 1] * (1.0 - w) + along[i + 1, 1] * w
        behind = along[i, 2] * (1.0 - w) + along[i + 1, 2] * w
        ended = deep < THINNEST_CORD
        if not ended and ((a - along[i, 3]) / wide) ** 2 + ((b - behind) / deep) ** 2 < 1.0:
            return CORD, CORD, 0.0
        if chain == ROOT:
            return ROOT, ROOT, 0.0
        if r > dura - DURA_THICKNESS:
            return DURA, DURA, 0.0
        return FLUID, FLUID, 0.0
    if chain == ROOT:
        return ROOT, ROOT, 0.0
    if abs(theta) > VENTRAL and -0.9 < r - wall < 1.0:
        return LIGAMENT, LIGAMENT, 0.0
    if r < wall:
        return EPIDURAL_FAT, FAT, 0.5
    if abs(theta) < HALF_SECTOR:
        thickness = along[i, 4] if a > 0.0 else along[i, 5]
        if r - wall < 1.12 * thickness:
            if abs(a) < along[i, 6]:
                return EPIDURAL_FAT, FAT, 0.5
            return FLAVUM, FLAVUM, 0.0
    return (-2 if abs(theta) < VENTRAL and r < wall + 7.0 else -1), 0, 0.0


@kernel
def _in_disc(row, rims, x, y, z):
    """Return (share of nucleus, inside) of a point that lies in no bone."""
    px, py, pz = x - row[0], y - row[1], z - row[2]
    up = row[9] * px + row[10] * py + row[11] * pz
    if abs(up) > row[12] + DISHED:
        return 0.0, False
    a = row[3] * px + row[4] * py + row[5] * pz
    b = row[6] * px + row[7] * py + row[8] * pz
    radius = math.sqrt(a * a + b * b)
    if radius > WIDEST_DISC:
        return 0.0, False
    p = math.atan2(b, a) / (2.0 * math.pi) * 64.0
    if p < 0.0:
        p += 64.0
    i = int(p) % 64
    j, w = (i + 1) % 64, p - int(p)
    share = min(max(0.5 + 0.5 * up / row[12], 0.0), 1.0)
    above = rims[0, i] * (1.0 - w) + rims[0, j] * w
    below = rims[1, i] * (1.0 - w) + rims[1, j] * w
    rim = below * (1.0 - share) + above * share
    rim += (0.6 + 1.4 * row[13]) * max(1.0 - (up / row[12]) ** 2, 0.0)
    part = radius / rim
    if part >= 1.0 or abs(up) > row[12] + DISHED * (1.0 - part * part):
        return 0.0, False
    # The nucleus lies a little behind the middle.
    off = math.sqrt(a * a + (b - 0.08 * rim) ** 2) / rim
    nucleus = 1.0 - ramp(off, NUCLEUS_SHARE - 0.16, NUCLEUS_SHARE + 0.1)
    nucleus *= 1.0 - 0.7 * ramp(abs(up), 0.5 * row[12], row[12] + 1.5)
    nucleus *= 1.0 - 0.3 * math.exp(-((up / 0.9) ** 2))
    return nucleus * (1.0 - row[13]), True


@kernel
def classify(f, points, count, cortex_scale, bloom, tissue, other, share, depth):
    """Write tissue, other, share and depth under the skin (count,) of the first `count` points (n, 3).

    `cortex_scale` thickens what is drawn of cortex, `bloom` [mm] what is drawn of metal.
    """
    first, facts, rows, maps, map_facts = f.first, f.row_facts, f.rows, f.maps, f.map_facts
    nz, ny, nx = f.block_guess.shape
    for n in range(count):
        x, y, z = points[n, 0], points[n, 1], points[n, 2]
        tissue[n], other[n], share[n], depth[n] = AIR, AIR, 0.0, 0.0
        i, j, k = int((x - first[0]) / 6.0), int((y - first[1]) / 6.0), int((z - first[2]) / 6.0)
        if x < first[0] or y < first[1] or z < first[2] or i >= nx or j >= ny or k >= nz:
            continue
        skin = on_map(maps, map_facts, x, z, 0)
        if y > skin:
            continue
        depth[n] = skin - y
        half, side = along_rows(rows, facts[0], z, 3), along_rows(rows, facts[0], z, 4)
        s = abs(x - along_rows(rows, facts[0], z, 0))
        part = s / half
        rim = part * part * math.sqrt(part)
        if y < side:
            part = (side - y) / (side - facts[1])
            rim += part * part * math.sqrt(part)
        if rim >= 1.0:
            continue
        rim = min(0.4 * (1.0 - rim) * half, skin - y)
        if rim < facts[2]:
            tissue[n], other[n] = SKIN, SKIN
            continue
        hard = -1
        for m in range(4):
            index = f.block_others[k, j, i, m]
            if index < 0:
                break
            d = distance_to_bone(f.other_values, f.other_table, index, x, y, z, False)
            kind = f.other_tissue[index]
            if d < (bloom if kind == METAL else 0.0):
                hard = MARROW if kind == CORTEX and d < -1.6 else kind
                break
        if hard >= 0:
            tissue[n], other[n] = hard, hard
            continue
        nearest, second, holder = FAR, FAR, -1
        for m in range(4):
            index = f.block_bones[k, j, i, m]
            if index < 0:
                break
            d = distance_to_bone(f.bone_values, f.bone_table, index, x, y, z, False)
            if d < nearest:
                nearest, second, holder = d, nearest, index
            elif d < second:
                second = d
        if nearest < 0.0:
            tissue[n], other[n], share[n] = _in_bone(
                f.bone_table[holder], f.bone_facts[holder], facts, -nearest, x, y, z, cortex_scale
            )
            continue
        fascia = on_map(maps, map_facts, x, z, 1)
        if y > fascia:
            tissue[n], other[n] = FAT, FAT
            continue
        block = (k * ny + j) * nx + i
        chain, wave = -1, 0.0
        if f.capsule_start[block + 1] > f.capsule_start[block]:
            wave = texture_at(f.texture, x / WAVE, y / WAVE, z / WAVE)
            chain = _chain_tissue(f.capsule_start, f.capsule_list, f.capsules, block, x, y, z, wave)
        beside = False
        guess = f.block_guess[k, j, i]
        if guess > 0.0:
            p, off = _station(f.frames, guess, x, y, z)
            if abs(off) < CHARTED and p > CHART_BEGINS:
                a, b, c = _in_canal(f.frames, f.radii, f.along, p, x, y, z, chain)
                if a >= 0:
                    tissue[n], other[n], share[n] = a, b, c
                    continue
                beside = a == -2
        index = f.block_disc[k, j, i]
        if index >= 0:
            part, inside = _in_disc(f.disc_facts[index], f.disc_rims[index], x, y, z)
            if inside:
                if part > 0.5:
                    tissue[n], other[n], share[n] = NUCLEUS, ANNULUS, 1.0 - part
                else:
                    tissue[n], other[n], share[n] = ANNULUS, NUCLEUS, part
                continue
        if chain >= 0:
            tissue[n], other[n] = chain, chain
            continue
        if second < 1.5:
            # Cartilage and a film of fluid between two joint processes.
            tissue[n], other[n], share[n] = ANNULUS, FLUID, 0.5
            continue
        behind = y - along_rows(rows, facts[0], z, 2)
        if nearest < 0.9 and behind < -8.0:
            tissue[n], other[n] = LIGAMENT, LIGAMENT
            continue
        reach = along_rows(rows, facts[0], z, 5)
        if wave == 0.0:
            wave = texture_at(f.texture, x / WAVE, y / WAVE, z / WAVE)
        tissue[n], other[n], share[n] = layers(
            facts, s, y, z, behind, rim, fascia, reach, nearest, beside, wave
        )
