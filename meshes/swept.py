"""Closed surfaces swept along a polyline: solid tubes and pipes with a bore."""

import math
from functools import lru_cache

import numpy as np

from meshes.frames import unit

# Cosine to an axis of space beyond which a curve is too near to it to take it for `up`.
NEAR_AXIS = 0.9


def points_from_tip(nodes, distances):
    """Return points (k, 3) on the polyline `nodes` (n, 3), tip last, at `distances` from the tip. [mm]

    Beyond either end the end itself is returned.
    """
    nodes = np.asarray(nodes, float)[::-1]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(nodes, axis=0), axis=1))])
    return np.stack([np.interp(distances, along, nodes[:, k]) for k in range(3)], axis=-1)


def polyline_length(nodes):
    """Return the length of a polyline (n, 3). [mm]"""
    return float(np.linalg.norm(np.diff(nodes, axis=0), axis=1).sum())


def _any_across(tangent):
    axis = np.zeros(3)
    axis[np.argmin(np.abs(tangent))] = 1.0
    return unit(axis - tangent * (axis @ tangent))


def frames_along(points, *, up=None):
    """Return (tangents, across, aside), each (n, 3), right-handed in the order across, aside, tangent.

    With `up` (3,) every `across` is as near to it as can be. Without, `up` is the axis of space that the
    curve keeps away from; if there is none, the frame is carried along with as little twist as can be.

    Raises
    ------
    ValueError
        If there are fewer than two points, two neighbours coincide, or the curve runs along `up`.
    """
    points = np.asarray(points, float)
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 2:
        raise ValueError(f"points must have shape (n, 3) with n >= 2, got {points.shape}: give a polyline")
    steps = points[1:] - points[:-1]
    if not steps.any(axis=1).all():
        raise ValueError("points must differ from their neighbours, got the same twice: leave one out")
    tangents = unit(np.concatenate([steps[:1], steps[1:] + steps[:-1], steps[-1:]]))
    if up is None:
        nearest = np.abs(tangents).max(axis=0)
        up = np.eye(3)[np.argmin(nearest)] if nearest.min() < NEAR_AXIS else None
    if up is None:
        across = _carried(tangents)
    else:
        across = unit(up - tangents * (tangents @ np.asarray(up, float))[:, None])
    return tangents, across, _cross(tangents, across)


def _cross(a, b):
    """Return the products (n, 3); numpy's own is slow for short arrays."""
    ax, ay, az, bx, by, bz = *a.T, *b.T
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], axis=-1)


def _carried(tangents):
    """Return directions across the tangents, each the one before laid into the next cross-section."""
    across = np.empty_like(tangents)
    before = _any_across(tangents[0])
    for i, tangent in enumerate(tangents):
        before = before - tangent * (before @ tangent)
        before /= math.sqrt(before @ before)
        across[i] = before
    return across


def _rings(points, frames, half_axes, sides):
    _, across, aside = frames
    angle = np.arange(sides) * (2.0 * np.pi / sides)
    high, wide = np.broadcast_to(half_axes, (len(points), 2)).T
    return (
        points[:, None, :]
        + (high[:, None] * np.cos(angle))[..., None] * across[:, None, :]
        + (wide[:, None] * np.sin(angle))[..., None] * aside[:, None, :]
    )


def _pipe_rings(points, frames, outer_radius, inner_radius, sides):
    """Return the rings (2, n, sides, 3) of a pipe's outside and of its bore."""
    outer = _rings(points, frames, (outer_radius, outer_radius), sides)
    middle = points[:, None, :]
    return np.stack([outer, middle + (outer - middle) * (inner_radius / outer_radius)])


def swept_pipes(points, *, outer_radius, inner_radius, sides=16):
    """Return vertices (k, m, 3) of k equal pipes along pieces (k, n, 3) of one curve, and their faces.

    All at once, because rings of contacts are swept anew at every redraw.
    """
    pieces, count = points.shape[:2]
    flat = points.reshape(-1, 3)
    both = _pipe_rings(flat, frames_along(flat), outer_radius, inner_radius, sides)
    vertices = both.reshape(2, pieces, count * sides, 3).swapaxes(0, 1).reshape(pieces, -1, 3)
    return vertices, _pipe_faces(count, sides)


def _wall(first, second):
    """Return faces of the band between two rows of ring indices, (..., sides); outward for a solid."""
    a, b, c, d = first, np.roll(first, -1, axis=-1), np.roll(second, -1, axis=-1), second
    return np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


# Tools are swept anew at every redraw; how their vertices are joined depends on two counts only.
@lru_cache(maxsize=64)
def _solid_faces(rings, sides):
    index = np.arange(rings * sides).reshape(rings, sides)
    first, last = rings * sides, rings * sides + 1
    start, end = index[0], index[-1]
    caps = [
        np.stack([np.roll(start, -1), start, np.full(sides, first)], -1),
        np.stack([end, np.roll(end, -1), np.full(sides, last)], -1),
    ]
    return _read_only(np.concatenate([_wall(index[:-1], index[1:]), *caps]))


@lru_cache(maxsize=64)
def _pipe_faces(rings, sides):
    outer, inner = np.arange(2 * rings * sides).reshape(2, rings, sides)
    walls = [_wall(outer[:-1], outer[1:]), _wall(inner[1:], inner[:-1])]
    rims = [_wall(inner[0], outer[0]), _wall(outer[-1], inner[-1])]
    return _read_only(np.concatenate(walls + rims))


def _read_only(array):
    array.setflags(write=False)
    return array


def swept_solid(points, *, half_axes, sides=16, up=None):
    """Return (vertices, faces) of a closed tube of elliptic section with flat ends.

    Parameters
    ----------
    points : (n, 3) float
        Middle line. [mm]
    half_axes : (2,) or (n, 2) float
        Of the section, along `up` and across it. [mm]
    """
    points = np.asarray(points, float)
    rings = _rings(points, frames_along(points, up=up), half_axes, sides)
    return np.concatenate([rings.reshape(-1, 3), points[[0, -1]]]), _solid_faces(len(points), sides)


def swept_pipe(points, *, outer_radius, inner_radius, sides=16, up=None, bevel_length=0.0):
    """Return (vertices, faces) of a closed pipe wall with an open bore.

    The last end may be bevelled: its heel, on the side of `up`, lies `bevel_length` [mm] before the tip.

    Raises
    ------
    ValueError
        If the bore is not smaller than the pipe, or the bevel longer than the last piece of the middle line.
    """
    if not 0.0 < inner_radius < outer_radius:
        raise ValueError(
            f"inner_radius must lie between 0 and outer_radius {outer_radius:g}, got {inner_radius:g}: "
            "leave a wall"
        )
    points = np.asarray(points, float)
    frames = frames_along(points, up=up)
    if not 0.0 <= bevel_length < np.linalg.norm(points[-1] - points[-2]):
        raise ValueError(
            "bevel_length must be shorter than the last piece of the middle line, "
            f"got {bevel_length:g}: give a longer piece"
        )
    both = _pipe_rings(points, frames, outer_radius, inner_radius, sides)
    if bevel_length:
        # The cut is a plane: the bore meets it at the height of its own radius.
        cosine = np.cos(np.arange(sides) * (2.0 * np.pi / sides))
        for ring, share in zip(both, (1.0, inner_radius / outer_radius)):
            ring[-1] -= (0.5 * bevel_length * (1.0 + share * cosine))[:, None] * frames[0][-1]
    return both.reshape(-1, 3), _pipe_faces(len(points), sides)
