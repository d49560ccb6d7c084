"""The sacrum: drawn, not measured, except that it meets L5. Frame: origin in the middle of the S1 body."""

import numpy as np

from meshes.frames import unit
from meshes.lamina import LaminaEdges
from meshes.primitives import CUT
from meshes.rows import body_row, capsule_row, lamina_row, stack
from meshes.tables import loader

SIDES = (1.0, -1.0)
# The body is drawn with the posterior wall here. [mm]
POSTERIOR_WALL = 15.0
# Ends of the centre line of the first tubercle, (y, z), and its rounding. [mm]
FIRST_TUBERCLE, FIRST_ROUNDING = ((40.0, -16.0), (46.0, -21.0)), 2.6


def sacrum_edges():
    """Return the edges of the S1 lamina. It starts low, else L5 has no room for its own."""
    depth, radius = loader.number("vertebrae", "S1.canal_depth"), 2.6
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


def sacrum_rows():
    """Return the rows (n, 44) of the sacrum at stature_scale 1."""
    return stack([*_bodies(), *_side_parts(), *_canal(), *_roof(), *_foramina()])


def _bodies():
    size = loader.numbers("vertebrae", "S1")
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
    widths, depths = (38.0, 31.0, 25.0, 18.0, 12.0), (20.0, 16.0, 13.0, 10.0, 7.0)
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


def _side_parts():
    rows = []
    for s in SIDES:
        part = _side(s)
        rows += [
            # wing, auricular surface, superior articular process, articular ridge, two plates of the roof
            part((15, 5, -5), (42, 10, -9), sizes=(9, 9), end_sizes=(11, 18), rounding=10, blend=6),
            part(
                (36, 12, -12),
                (18, 27, -62),
                sizes=(8, 13),
                end_sizes=(4, 6),
                up=(s, 0, 0),
                rounding=6,
                blend=8,
            ),
            part(
                (24, 20, 4),
                (23.5, 28, 11.5),
                sizes=(3.6, 6.2),
                end_sizes=(3.2, 5.6),
                up=(-0.75, 0.66, 0),
                rounding=4,
            ),
            part((19, 20, 2), (13, 32, -45), sizes=(6, 5), end_sizes=(4, 4), blend=5),
            part((15, 28, -22), (0, 38, -27), sizes=(3, 8), up=(0, -0.3, 1), power=4, rounding=3, blend=4),
            part((13, 30, -42), (0, 37, -44), sizes=(3, 9), up=(0, 0.2, 1), power=4, rounding=3, blend=4),
        ]
    return rows


def _side(s):
    def part(start, end, *, up=(0, 0, 1), **shape):
        (x0, *start), (x1, *end), (ux, *up) = start, end, up
        return capsule_row((s * x0, *start), (s * x1, *end), up=(s * ux, *up), **shape)

    return part


def _canal():
    half = 0.5 * loader.number("vertebrae", "S1.canal_width")
    back = (0, 1, 0.2)
    return [
        capsule_row(
            (0, 22, 25), (0, 29, -14), sizes=(half, 7.5), end_sizes=(12, 6), up=back, operation=CUT, blend=1.5
        ),
        capsule_row(
            (0, 29, -14), (0, 30, -40), sizes=(12, 6), end_sizes=(6, 3.5), up=back, operation=CUT, blend=1.5
        ),
        capsule_row(
            (0, 30, -40),
            (0, 30, -80),
            sizes=(6, 3.5),
            end_sizes=(4, 3),
            up=(0, 1, 0),
            operation=CUT,
            blend=1.5,
        ),
    ]


def _roof():
    lamina = lamina_row(
        sacrum_edges(), half_width=17.5, flare_down=2.0, flare_up=2.0, side_blend=3.0, blend=3.5
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


def _foramina():
    places = (((19, 8, -15), 4.5), ((17, 15, -36), 3.5), ((14, 19, -56), 3.5))
    return [
        capsule_row((1.15 * s * x, y - 30, z + 2), (s * x, y + 40, z), sizes=(r, r), operation=CUT, blend=2)
        for s in SIDES
        for (x, y, z), r in places
    ]
