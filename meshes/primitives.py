"""The implicit shapes that bones are made of, and how two of them flow into each other.

A row of `ROW_LENGTH` numbers is one shape: kind, operation, blend radius, then what the kind needs. Each
kernel returns a value in mm that is negative inside and close to the distance near the surface.
"""

import math

from meshes.compiled import kernel

ROW_LENGTH = 44
KIND, OPERATION, BLEND = 0, 1, 2
CAPSULE, BODY, CANAL, LAMINA, BLADE, BOX = range(6)
UNION, CUT = range(2)
# Lateral positions of the four nodes of a lamina's curves.
NODES = (0.0, 4.0, 8.0, 12.0)


@kernel(inline=True)
def smooth_minimum(a, b, blend):
    """Return min(a, b), rounded where the two differ by less than `blend`; at most blend/4 below it."""
    if blend <= 0.0:
        return min(a, b)
    h = max(blend - abs(a - b), 0.0)
    return min(a, b) - h * h * 0.25 / blend


@kernel(inline=True)
def smooth_maximum(a, b, blend):
    """Return max(a, b), rounded where the two differ by less than `blend`; at most blend/4 above it."""
    if blend <= 0.0:
        return max(a, b)
    h = max(blend - abs(a - b), 0.0)
    return max(a, b) + h * h * 0.25 / blend


@kernel
def even_curve(row, first, distance):
    """Return an even curve of |x| through four nodes of a row.

    Cubic Hermite between the nodes, flat at the midline; it levels off beyond the last node, because a
    straight continuation grows spikes.
    """
    n0, n1, n2, n3 = row[first], row[first + 1], row[first + 2], row[first + 3]
    if distance >= 12.0:
        return n3 + (n3 - n2) * 0.1 * (distance - 12.0)
    piece = int(distance * 0.25)
    t = distance * 0.25 - piece
    if piece == 0:
        p, q, m, n = n0, n1, 0.0, 0.5 * (n2 - n0)
    elif piece == 1:
        p, q, m, n = n1, n2, 0.5 * (n2 - n0), 0.5 * (n3 - n1)
    else:
        p, q, m, n = n2, n3, 0.5 * (n3 - n1), n3 - n2
    s = 1.0 - t
    return s * s * ((1.0 + 2.0 * t) * p + t * m) + t * t * ((1.0 + 2.0 * s) * q - s * n)


@kernel
def capsule(row, x, y, z):
    """Tapered elliptic capsule, square-ended with power 4, its centre line bowed by row[22].

    Row: 3 start, 6 length, 7 axis, 10 u, 13 v, 16 half sizes (u, v) at the start, 18 at the end,
    20 rounding of the ends, 21 power, 22 bow along u. Exact for a sphere and a round capsule.
    """
    dx, dy, dz = x - row[3], y - row[4], z - row[5]
    along = dx * row[7] + dy * row[8] + dz * row[9]
    s = min(max(along / row[6], 0.0), 1.0)
    a = row[16] + (row[18] - row[16]) * s
    b = row[17] + (row[19] - row[17]) * s
    c = row[20]
    u = (dx * row[10] + dy * row[11] + dz * row[12] - row[22] * 4.0 * s * (1.0 - s)) / a
    v = (dx * row[13] + dy * row[14] + dz * row[15]) / b
    e = (along - s * row[6]) / c
    u, v, e = u * u, v * v, e * e
    floor = -min(a, b)
    if row[21] < 3.0:
        size = math.sqrt(u + v + e)
        slope = math.sqrt(u / (a * a) + v / (b * b) + e / (c * c))
        return max(size * (size - 1.0) / slope, floor) if slope > 1e-9 else floor
    fourth = u * u + v * v + e * e
    if fourth < 1e-8:
        return floor
    size = math.sqrt(math.sqrt(fourth))
    slope = math.sqrt(u * u * u / (a * a) + v * v * v / (b * b) + e * e * e / (c * c))
    return max((size - 1.0) * size * size * size / slope, floor)


@kernel
def body(row, x, y, z):
    """Vertebral body: superelliptic prism, waisted between two rims, wedged, its plates and wall hollow.

    Row: 3 upper width, 4 upper depth, 5 lower width, 6 lower depth, 7 anterior height, 8 posterior height,
    9 waist, 10 and 11 dish of the upper and lower plate, 12 posterior wall, 13 rim radius, 14 power,
    15 hollow of the wall, 16 share by which the front is narrower than the middle.
    """
    depth = 0.5 * (row[4] + row[6])
    height = row[8] + (row[7] - row[8]) * (0.5 - y / depth)
    t = min(max(2.0 * z / height, -1.0), 1.0)
    # Steeper than a bell towards the plates: the flare of the rims.
    middle = (1.0 - t * t) * (1.0 + 0.7 * t * t)
    a = 0.5 * (0.5 * (row[3] + row[5]) + 0.5 * (row[3] - row[5]) * t) * (1.0 - row[9] * middle)
    b = 0.54 * (depth + 0.5 * (row[4] - row[6]) * t) * (1.0 - 0.8 * row[9] * middle)
    a *= 1.0 + row[16] * min(max(y / b, -1.0), 0.5)
    u, v, n = abs(x) / a, abs(y - 0.04 * depth) / b, row[14]
    un, vn = u**n, v**n
    size = (un + vn) ** (1.0 / n)
    side = -min(a, b)
    if size > 1e-4:
        # Powers of n - 1 by division: a power costs as much as all the rest.
        gu, gv = un / max(a * u, 1e-12), vn / max(b * v, 1e-12)
        side = (size - 1.0) * (un + vn) / (size * math.sqrt(gu * gu + gv * gv))
    lateral = x / (0.24 * row[3])
    wall = row[12] - row[15] * math.exp(-lateral * lateral) - 0.8 * middle
    side = smooth_maximum(side, y - wall, 3.5)
    q = min(size, 1.2) / 0.64
    dish = math.exp(-(q * q * q * q))
    plates = max(z - 0.5 * height - 0.25 + row[10] * dish, -0.5 * height - 0.25 + row[11] * dish - z)
    return smooth_maximum(side, plates, row[13])


@kernel
def canal(row, x, y, z):
    """Vertebral canal: a tube without ends, with a pointed roof.

    Row: 3 front, 4 width, 5 depth of the roof's ridge, 6 half angle of the roof, 7 rounding.
    """
    behind = y - row[3]
    tube = smooth_maximum(abs(x) - 0.5 * row[4], -behind, row[7])
    roof = abs(x) * math.cos(row[6]) + (behind - row[5]) * math.sin(row[6])
    return smooth_maximum(tube, roof, 1.2 * row[7])


@kernel
def lamina(row, x, y, z):
    """Both laminae: in every sagittal plane a stadium between the centres of the top and the bottom edge.

    Row: 3 top y, 7 top z, 11 bottom y, 15 bottom z (four nodes each), 19 top, bottom and middle radius,
    22 share of the distance in the sagittal plane, 23 half width at the isthmus, 24 and 25 flare down and up,
    26 rounding of the sides, 27 how far the isthmus lies above the middle, 28 how steeply the bottom edge
    comes down to the left, as far as the third node.
    """
    lateral = abs(x)
    s = min(lateral, row[23] + 4.0)
    top_y, top_z = even_curve(row, 3, s), even_curve(row, 7, s)
    ay, az = even_curve(row, 11, s) - top_y, even_curve(row, 15, s) - top_z
    az -= row[28] * min(max(x, -8.0), 8.0)
    h = min(max(((y - top_y) * ay + (z - top_z) * az) / (ay * ay + az * az + 1e-6), 0.0), 1.0)
    py, pz = y - top_y - h * ay, z - top_z - h * az
    swell = 4.0 * h * (1.0 - h)
    swell *= 2.0 - swell
    edge = row[19] + (row[20] - row[19]) * h
    plate = (math.sqrt(py * py + pz * pz) - edge - (row[21] - edge) * swell) * row[22]
    f = (z - top_z - 0.5 * az - row[27]) / (0.5 * abs(az) + 1e-6)
    f = min(max(f, -1.4), 1.4)
    half_width = row[23] + (row[24] if f < 0.0 else row[25]) * f * f
    return smooth_maximum(plate, lateral - half_width, row[26])


@kernel
def blade(row, x, y, z):
    """Spinous process: a rounded polygon of six corners in the sagittal plane with a law for its thickness.

    Row: 3 corners (y, z), 15 rounding, 16 root, 18 axis, 20 length, 21 half width at root, middle and tip,
    24 height, 25 share of the width left at the upper border, 26 rounding of the flanks, 27 how far the tip
    leans to the left.
    """
    nearest, sign, j = 1e9, 1.0, 5
    for i in range(6):
        ey, ez = row[3 + 2 * j] - row[3 + 2 * i], row[4 + 2 * j] - row[4 + 2 * i]
        py, pz = y - row[3 + 2 * i], z - row[4 + 2 * i]
        q = min(max((py * ey + pz * ez) / (ey * ey + ez * ez + 1e-9), 0.0), 1.0)
        nearest = min(nearest, (py - ey * q) ** 2 + (pz - ez * q) ** 2)
        # The side changes with every edge that a ray from the point crosses.
        above, below, left = pz >= 0.0, z < row[4 + 2 * j], ey * pz > ez * py
        if above == below and below == left:
            sign = -sign
        j = i
    outline = sign * math.sqrt(nearest) - row[15]
    dy, dz = y - row[16], z - row[17]
    s = min(max((dy * row[18] + dz * row[19]) / row[20], 0.0), 1.0)
    low = min(max(0.5 - (dz * row[18] - dy * row[19]) / row[24], 0.0), 1.0)
    half_width = row[21] * (1.0 - s) ** 2 + 2.0 * row[22] * s * (1.0 - s) + row[23] * s * s
    half_width *= row[25] + (1.0 - row[25]) * low
    return smooth_maximum(outline, abs(x - row[27] * s * s) - half_width, row[26])


@kernel
def box(row, x, y, z):
    """Rounded box, exact. Row: 3 centre, 7 three axes, 16 half sizes, 20 rounding."""
    dx, dy, dz, r = x - row[3], y - row[4], z - row[5], row[20]
    u = abs(dx * row[7] + dy * row[8] + dz * row[9]) - row[16] + r
    v = abs(dx * row[10] + dy * row[11] + dz * row[12]) - row[17] + r
    w = abs(dx * row[13] + dy * row[14] + dz * row[15]) - row[18] + r
    outside = math.sqrt(max(u, 0.0) ** 2 + max(v, 0.0) ** 2 + max(w, 0.0) ** 2)
    return outside + min(max(u, max(v, w)), 0.0) - r


@kernel
def primitive(row, x, y, z):
    """Return the value of one row at a point; a kind that does not exist is nowhere."""
    kind = int(row[0])
    if kind == 0:
        return capsule(row, x, y, z)
    if kind == 1:
        return body(row, x, y, z)
    if kind == 2:
        return canal(row, x, y, z)
    if kind == 3:
        return lamina(row, x, y, z)
    if kind == 4:
        return blade(row, x, y, z)
    if kind == 5:
        return box(row, x, y, z)
    return 1e9
