"""Closed surfaces swept along a polyline: solid tubes and pipes with a bore."""

import numpy as np

from meshes.frames import unit


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

    With `up` (3,) every `across` is as near to it as can be; without, the frame is carried along the curve
    with as little twist as can be.

    Raises
    ------
    ValueError
        If there are fewer than two points, two neighbours coincide, or the curve runs along `up`.
    """
    points = np.asarray(points, float)
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 2:
        raise ValueError(f"points must have shape (n, 3) with n >= 2, got {points.shape}: give a polyline")
    unit(np.diff(points, axis=0))
    tangents = unit(np.gradient(points, axis=0))
    across = np.empty_like(tangents)
    wanted = _any_across(tangents[0]) if up is None else np.asarray(up, float)
    for i, tangent in enumerate(tangents):
        across[i] = unit(wanted - tangent * (wanted @ tangent))
        if up is None:
            wanted = across[i]
    return tangents, across, np.cross(tangents, across)


def _rings(points, frames, half_axes, sides):
    _, across, aside = frames
    angle = np.arange(sides) * (2.0 * np.pi / sides)
    high, wide = np.broadcast_to(half_axes, (len(points), 2)).T
    return (
        points[:, None, :]
        + (high[:, None] * np.cos(angle))[..., None] * across[:, None, :]
        + (wide[:, None] * np.sin(angle))[..., None] * aside[:, None, :]
    )


def _wall(first, second):
    """Return faces of the band between two rows of ring indices, (..., sides); outward for a solid."""
    a, b, c, d = first, np.roll(first, -1, axis=-1), np.roll(second, -1, axis=-1), second
    return np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


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
    index = np.arange(len(points) * sides).reshape(len(points), sides)
    first, last = len(points) * sides, len(points) * sides + 1
    start, end = index[0], index[-1]
    caps = [
        np.stack([np.roll(start, -1), start, np.full(sides, first)], -1),
        np.stack([end, np.roll(end, -1), np.full(sides, last)], -1),
    ]
    vertices = np.concatenate([rings.reshape(-1, 3), points[:1], points[-1:]])
    return vertices, np.concatenate([_wall(index[:-1], index[1:]), *caps])


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
    both = [_rings(points, frames, (radius, radius), sides) for radius in (outer_radius, inner_radius)]
    # The cut is a plane: the bore meets it at the height of its own radius.
    cosine = np.cos(np.arange(sides) * (2.0 * np.pi / sides))
    for ring, radius in zip(both, (outer_radius, inner_radius)):
        back = 0.5 * bevel_length * (1.0 + cosine * radius / outer_radius)
        ring[-1] -= back[:, None] * frames[0][-1]
    index = np.arange(2 * len(points) * sides).reshape(2, len(points), sides)
    outer, inner = index
    faces = [
        _wall(outer[:-1], outer[1:]),
        _wall(inner[1:], inner[:-1]),
        _wall(inner[0], outer[0]),
        _wall(outer[-1], inner[-1]),
    ]
    return np.concatenate([ring.reshape(-1, 3) for ring in both]), np.concatenate(faces)
