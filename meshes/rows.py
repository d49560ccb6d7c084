"""From sizes and places in a bone's frame to the rows that `meshes.primitives` evaluates."""

import math

import numpy as np

from meshes.frames import unit
from meshes.primitives import BLADE, BODY, BOX, CANAL, CAPSULE, CUT, LAMINA, ROW_LENGTH, UNION


def _row(kind, operation, blend):
    row = np.zeros(ROW_LENGTH)
    row[:3] = kind, operation, blend
    return row


def capsule_row(
    start,
    end,
    *,
    sizes,
    end_sizes=None,
    up=(0, 0, 1),
    rounding=None,
    power=2,
    bow=0.0,
    operation=UNION,
    blend=3.0,
):
    """Return a tapered elliptic capsule from `start` to `end`.

    Parameters
    ----------
    start, end : (3,) float
        Ends of the centre line. [mm]
    sizes, end_sizes : (2,) float
        Half sizes across and along `up`, at the start and at the end (the same if not given). [mm]
    up : (3,) float
        Direction of the second half size, made square to the axis; not parallel to it.
    rounding : float
        How far the ends reach beyond start and end; the least half size if not given. [mm]
    power : int
        2 elliptic, 4 nearly rectangular.
    bow : float
        How far the middle is pushed sideways, across `up`. [mm]

    Raises
    ------
    ValueError
        If start and end coincide, or `up` is parallel to the axis.
    """
    start, end, up = (np.asarray(vector, float) for vector in (start, end, up))
    axis, length = unit(end - start), np.linalg.norm(end - start)
    square = up - axis * (up @ axis)
    if np.linalg.norm(square) < 1e-6 * np.linalg.norm(up):
        raise ValueError(f"up must not be parallel to the axis, got {up} along {axis}: turn it aside")
    v = unit(square)
    end_sizes = sizes if end_sizes is None else end_sizes
    row = _row(CAPSULE, operation, blend)
    row[3:6], row[6], row[7:10], row[10:13], row[13:16] = start, length, axis, np.cross(v, axis), v
    row[16:18], row[18:20] = sizes, end_sizes
    row[20:23] = min(*sizes, *end_sizes) if rounding is None else rounding, power, bow
    return row


def capsule_pair(start, end, *, up=(0, 0, 1), bow=0.0, **shape):
    """Return the capsule and its mirror image in x, left side first; see `capsule_row`."""
    flip = np.array([-1.0, 1.0, 1.0])
    left = capsule_row(start, end, up=up, bow=bow, **shape)
    # Mirroring turns the direction in which the bow is counted.
    return left, capsule_row(flip * start, flip * end, up=flip * up, bow=-bow, **shape)


def body_row(*, upper, lower, heights, waist, dishes, wall, hollow, rim=1.8, power=2.08, narrower_front=0.0):
    """Return a vertebral body.

    `upper` and `lower` are (width, depth) of the endplates, `heights` the anterior and the posterior one,
    `waist` the share by which the middle is narrower, `dishes` how far the upper and lower plate are hollow,
    `wall` the y of the posterior wall, `hollow` how far it is hollow in the middle, `rim` the rounding of the
    edge, `narrower_front` the share by which the front is narrower. [mm, shares 1]
    """
    row = _row(BODY, UNION, 0.0)
    row[3:9] = *upper, *lower, *heights
    row[9:17] = waist, *dishes, wall, rim, power, hollow, narrower_front
    return row


def canal_row(*, front, width, depth, half_angle, rounding=6.0, blend=1.5):
    """Return the canal as a cut: sizes in mm, the roof's half angle in rad."""
    row = _row(CANAL, CUT, blend)
    row[3:8] = front, width, depth, half_angle, rounding
    return row


def lamina_row(edges, *, half_width, flare_down, flare_up, side_blend, blend, isthmus_shift=0.0):
    """Return both laminae between the two edges of a `LaminaEdges`, waisted at the isthmus. [mm]"""
    row = _row(LAMINA, UNION, blend)
    row[3:7], row[7:11], row[11:15], row[15:19] = edges.top_y, edges.top_z, edges.bottom_y, edges.bottom_z
    row[19:22] = edges.top_radius, edges.bottom_radius, edges.middle_radius
    lean = max(abs(y[2] - y[0]) / 8.0 for y in (edges.top_y, edges.bottom_y))
    row[22] = 1.0 / math.sqrt(1.0 + lean * lean)
    row[23:28] = half_width, flare_down, flare_up, side_blend, isthmus_shift
    return row


def blade_row(corners, *, rounding, half_widths, thin_top, side_blend, blend):
    """Return a spinous process.

    Parameters
    ----------
    corners : (6, 2) float
        Upper root, upper middle, upper tip, lower tip, lower middle, lower root as (y, z). [mm]
    half_widths : (3,) float
        At the root, in the middle, at the tip. [mm]
    thin_top : float
        Share of the width that is left at the upper border.
    """
    corners = np.asarray(corners, float)
    row = _row(BLADE, UNION, blend)
    root, tip = 0.5 * (corners[0] + corners[5]), 0.5 * (corners[2] + corners[3])
    length = np.linalg.norm(tip - root)
    ends = (corners[0] - corners[5], corners[2] - corners[3])
    row[3:15], row[15], row[16:18] = corners.ravel(), rounding, root
    row[18:20], row[20], row[21:24] = (tip - root) / length, length, half_widths
    row[24:27] = max(np.linalg.norm(end) for end in ends) + 2.0 * rounding, thin_top, side_blend
    return row


def box_row(centre, half_sizes, *, rounding=2.0, operation=CUT, blend=0.8):
    """Return a rounded box along the axes of the frame, as a cut unless told otherwise. [mm]"""
    row = _row(BOX, operation, blend)
    row[3:6] = centre
    row[7] = row[11] = row[15] = 1.0
    row[16:19], row[20] = half_sizes, rounding
    return row


def hollow_row(surface, *, outward, radius, depth, blend=0.6):
    """Return a shallow round hollow as a cut: a ball sunk `depth` below a point of the surface. [mm]"""
    centre = np.asarray(surface, float) + (radius - depth) * unit(np.asarray(outward, float))
    return capsule_row(
        centre, centre + [0.0, 1e-3, 0.0], sizes=(radius, radius), rounding=radius, operation=CUT, blend=blend
    )


def stack(rows):
    """Return a sequence of rows as the contiguous table (n, ROW_LENGTH) that the kernels take."""
    return np.ascontiguousarray(np.array(rows, float).reshape(-1, ROW_LENGTH))


def cut_by_finding(rows):
    """Return which of the rows (n, 44) are the cuts of a finding, as (n,) bool: the only boxes."""
    return (rows[:, 0] == BOX) & (rows[:, 1] == CUT)


def has_cuts(rows):
    """Return whether any of the rows (n, 44) is the cut of a finding."""
    return bool(cut_by_finding(rows).any())


def box_of_rows(rows, *, padding=5.0):
    """Return the corners (low, high) of a box that holds the surface of all rows that add material. [mm]

    The side walls of a lamina bound themselves through the capsules beside them, so x comes from the others.
    """
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for row in rows[rows[:, 1] == UNION]:
        for corner in _corners(row):
            low, high = np.fmin(low, corner), np.fmax(high, corner)
    return low - padding, high + padding


def _corners(row):
    kind, free = int(row[0]), np.nan
    if kind == CAPSULE:
        ends, reach = np.array([row[3:6], row[3:6] + row[6] * row[7:10]]), row[16:20].max()
        return ends.min(0) - reach, ends.max(0) + reach
    if kind == BODY:
        half = 0.5 * np.array([max(row[3], row[5]), max(row[4], row[6]), max(row[7], row[8])])
        return -half, half
    if kind == BLADE:
        corners, reach = row[3:15].reshape(6, 2), row[15] + 1.0
        return (free, *(corners.min(0) - reach)), (free, *(corners.max(0) + reach))
    if kind == LAMINA:
        y, reach = np.concatenate([row[3:7], row[11:15]]), row[19:22].max() + 1.0
        bottom, top = row[15:19].min() - reach - 3.0, row[7:11].max() + reach + 3.0
        return (free, y.min() - reach, bottom), (free, y.max() + reach, top)
    reach = np.abs(row[7:16].reshape(3, 3)).T @ row[16:19]
    return row[3:6] - reach, row[3:6] + reach
