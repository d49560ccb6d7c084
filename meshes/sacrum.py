"""The sacrum: drawn, not measured, except that it meets L5. Frame: origin in the middle of the S1 body."""

import numpy as np

from meshes.frames import unit
from meshes.lamina import LaminaEdges
from meshes.primitives import CUT
from meshes.rows import body_row, box_row, capsule_row, lamina_row, stack
from meshes.tables import loader

SIDES = (1.0, -1.0)
# The body is drawn with the posterior wall here. [mm]
POSTERIOR_WALL = 15.0
# Ends of the centre line of the first tubercle, (y, z), and its rounding. [mm]
FIRST_TUBERCLE, FIRST_ROUNDING = ((40.0, -16.0), (46.0, -21.0)), 2.6
# Lateral of this the two sides may be unlike. [mm]
SIDE_BEGINS = 20.0
# Depth from front to back of the drawn canal at its upper opening, and its front there. [mm]
OPENING_DEPTH, OPENING_FRONT = 15.0, 14.5
# Centre and half sizes of the slit that sets a lumbarised S1 free of S2 in front; its disc lies in it. [mm]
SLIT = ((0.0, -11.0, -16.0), (60.0, 19.0, 2.2))
# Centre (x, y, z) and radius of the foramina, S1 to S4. [mm]
FORAMINA = (((19, 8, -17), 4.6), ((17, 15, -36), 4.0), ((15, 19, -53), 3.4), ((12.5, 22, -66), 2.6))


def sacrum_edges(size=None):
    """Return the edges of the S1 lamina. It starts low, else L5 has no room for its own.

    `size` is {name: size} of S1; that of the table if not given. [mm]
    """
    size = loader.numbers("vertebrae", "S1") if size is None else size
    depth, radius = size["canal_depth"], 2.6
    return LaminaEdges(
        top_y=POSTERIOR_WALL + depth + radius + np.array([0.0, -0.8, -3.5, -8.0]),
        top_z=np.array([-11.0, -11.0, -10.5, -7.5]) - radius + 0.5,
        bottom_y=np.array([42.0, 41.0, 38.5, 34.0]),
        bottom_z=np.array([-24.0, -24.0, -23.5, -22.0]),
        top_radius=radius,
        bottom_radius=2.6,
        middle_radius=3.2,
    )


def first_tubercle_tip():
    """Return (y, z) of the most dorsal point of the first tubercle. [mm]"""
    start, end = np.array(FIRST_TUBERCLE)
    return end + FIRST_ROUNDING * unit(end - start)


def sacrum_rows(size=None, *, width_scale=1.0, hypertrophy=0.0, lumbarised=False):
    """Return the rows (n, 44) of the sacrum at stature_scale 1.

    Parameters
    ----------
    size : dict or None
        {name: size} of S1; that of the table if not given. [mm]
    width_scale : float
        How much wider than drawn.
    hypertrophy : float
        Of the joints to L5, 0 to 1.
    lumbarised : bool
        Whether S1 is set free in front like a sixth lumbar vertebra: a disc to S2, smaller wings.
    """
    size = loader.numbers("vertebrae", "S1") if size is None else size
    rows = [
        *_bodies(size, width_scale),
        *_side_parts(width_scale, hypertrophy, lumbarised),
        *_canal(size),
        *_roof(sacrum_edges(size), width_scale),
        *_foramina(width_scale),
    ]
    if lumbarised:
        rows.append(box_row(*SLIT, rounding=1.5))
    return stack(rows)


def _bodies(size, wide):
    rows = [
        body_row(
            upper=(size["upper_endplate_width"], size["upper_endplate_depth"]),
            lower=(size["lower_endplate_width"], size["lower_endplate_depth"]),
            heights=(size["anterior_height"], size["posterior_height"]),
            waist=0.05,
            dishes=(1.0, 0.0),
            wall=POSTERIOR_WALL,
            hollow=0.8,
            power=2.2,
            rim=2.5,
        )
    ]
    start, angle = np.array([0.0, 2.0, -9.0]), 0.32
    widths, depths = wide * np.array((38.0, 31.0, 25.0, 18.0, 12.0)), (24.0, 18.0, 13.0, 10.0, 7.0)
    for i, (length, bend) in enumerate(((23.0, 0.10), (20.0, -0.05), (18.0, -0.42), (15.0, -0.5))):
        back, up = (
            np.array([0.0, np.cos(angle), np.sin(angle)]),
            np.array([0.0, np.sin(angle), -np.cos(angle)]),
        )
        end = start + length * up
        sizes, end_sizes = (0.5 * widths[i], 0.5 * depths[i]), (0.5 * widths[i + 1], 0.5 * depths[i + 1])
        rows.append(
            capsule_row(start, end, sizes=sizes, end_sizes=end_sizes, up=back, rounding=5.0, blend=5.0)
        )
        start, angle = end, angle + bend
    return rows


def _side_parts(wide, hypertrophy, lumbarised):
    thick, reach = 1.0 + 0.4 * hypertrophy, 39.0 if lumbarised else 43.0
    rows = []
    for s in SIDES:
        part = _side(s, wide)
        rows += [
            # wing, lateral mass, its lower corner
            part((15, 5, -6), (reach, 11, -13), sizes=(10, 10), end_sizes=(9, 15), rounding=8, blend=7),
            part(
                (37, 14, -18),
                (17, 26, -64),
                sizes=(8, 12),
                end_sizes=(4, 6),
                up=(1, 0, 0),
                rounding=6,
                blend=8,
            ),
            part((0, 23, -73), (14, 26, -71), sizes=(3.5, 4.5), rounding=4, blend=4),
            # dorsal plate between the midline and the lateral mass
            part(
                (22, 24, -16),
                (12, 31, -62),
                sizes=(3.4, 11),
                end_sizes=(3, 7),
                up=(1, -0.35, 0),
                rounding=4,
                blend=6,
            ),
            # superior articular process, articular ridge, two plates of the roof
            part(
                (24, 20, 4),
                (23.5 - 1.0 * hypertrophy, 28, 11.5),
                sizes=(3.6, 6.2),
                end_sizes=(3.2 * thick, 5.6 * thick),
                up=(-0.75, 0.66, 0),
                rounding=4,
            ),
            part((19, 20, 2), (13, 32, -45), sizes=(6, 5), end_sizes=(4, 4), blend=5),
            part((15, 28, -22), (0, 38, -27), sizes=(3, 8), up=(0, -0.3, 1), power=4, rounding=3, blend=4),
            part((13, 30, -42), (0, 37, -44), sizes=(3, 9), up=(0, 0.2, 1), power=4, rounding=3, blend=4),
        ]
    return rows


def _side(s, wide=1.0):
    def part(start, end, *, up=(0, 0, 1), **shape):
        (x0, *start), (x1, *end), (ux, *up) = start, end, up
        across = s * wide
        return capsule_row((across * x0, *start), (across * x1, *end), up=(s * ux, *up), **shape)

    return part


def _canal(size):
    half, deep = 0.5 * size["canal_width"], size["canal_depth"] / loader.number("vertebrae", "S1.canal_depth")
    opening = 0.5 * OPENING_DEPTH * deep
    places = ((OPENING_FRONT + opening, 25), (29, -14), (30, -40), (30, -80))
    sizes = ((half, opening), (12, 6), (6, 3.5), (4, 3))
    back = (0, 1, 0.2)
    return [
        capsule_row(
            (0, *places[i]),
            (0, *places[i + 1]),
            sizes=sizes[i],
            end_sizes=sizes[i + 1],
            up=back,
            operation=CUT,
            blend=1.5,
        )
        for i in range(3)
    ]


def _roof(edges, wide):
    lamina = lamina_row(
        edges, half_width=17.5 * wide, flare_down=2.0, flare_up=2.0, side_blend=3.0, blend=3.5
    )
    tubercles = (
        (*FIRST_TUBERCLE, FIRST_ROUNDING, 5),
        ((40, -26), (44, -31), 3, 5),
        ((38, -42), (41, -46), 3, 5),
    )
    return [
        lamina,
        *(
            capsule_row((0, *start), (0, *end), sizes=(width, 6), end_sizes=(width, depth), blend=4)
            for start, end, width, depth in tubercles
        ),
    ]


def _foramina(wide):
    return [
        capsule_row(
            (1.15 * s * wide * x, y - 30, z + 2),
            (s * wide * x, y + 40, z),
            sizes=(r, r),
            operation=CUT,
            blend=2,
        )
        for s in SIDES
        for (x, y, z), r in FORAMINA
    ]
