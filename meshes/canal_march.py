"""Rays from the middle of the canal to the first bone, and what shapes a table of radii afterwards."""

import math

import numpy as np

from meshes.compiled import kernel
from meshes.distance import distance_to_bone

LONGEST_RAY = 18.0  # [mm]
# A bone is asked only within this distance along the axis: fewer than 1 ray in 10,000 changes. [mm]
BONE_REACH = 30.0


@kernel
def first_bone(values, table, bone_stations, centre, left, dorsal, u, theta, reach, longest):
    """Return the radius (n, m) of the first bone on each ray, `longest` where none is met.

    Sphere tracing in the distance grids; the last step is a secant.
    """
    radius = np.full((u.shape[0], theta.shape[0]), longest)
    for i in range(u.shape[0]):
        for j in range(theta.shape[0]):
            c, s = math.cos(theta[j]), math.sin(theta[j])
            dx = c * dorsal[i, 0] + s * left[i, 0]
            dy = c * dorsal[i, 1] + s * left[i, 1]
            dz = c * dorsal[i, 2] + s * left[i, 2]
            r, before, before_distance = 2.0, 2.0, 9.0
            while r < longest:
                x, y, z = centre[i, 0] + r * dx, centre[i, 1] + r * dy, centre[i, 2] + r * dz
                nearest = 1e9
                for bone in range(bone_stations.shape[0]):
                    if abs(u[i] - bone_stations[bone]) <= reach:
                        nearest = min(nearest, distance_to_bone(values, table, bone, x, y, z, False))
                if nearest <= 0.02:
                    share = before_distance / (before_distance - nearest) if nearest < 0.0 else 1.0
                    radius[i, j] = before + (r - before) * share
                    break
                before, before_distance = r, nearest
                r += max(nearest, 0.12)
    return radius


def limit_slope_along(radius, steepest):
    """Return the largest table below `radius` (n, m) that changes by at most `steepest` a row."""
    ramp = steepest * np.arange(len(radius))[:, None]
    up = np.minimum.accumulate(radius - ramp, axis=0) + ramp
    return (np.minimum.accumulate((up + ramp)[::-1], axis=0) - ramp[::-1])[::-1]


def limit_ratio_around(radius, largest):
    """Return the largest table below `radius` (n, m) that grows at most by the factor `largest` a column."""
    m = radius.shape[1]
    ramp = math.log(largest) * np.arange(2 * m)[None]
    logs = np.log(np.hstack([radius, radius]))
    right = (np.minimum.accumulate(logs - ramp, axis=1) + ramp)[:, m:]
    logs = np.hstack([right, right])
    left = (np.minimum.accumulate((logs + ramp)[:, ::-1], axis=1) - ramp[:, ::-1])[:, ::-1]
    return np.exp(left[:, :m])


def wrapped(theta):
    """Return angles in -pi .. pi."""
    return (theta + math.pi) % (2.0 * math.pi) - math.pi


def fade(value, middle, width):
    """Return a smooth step from 1 below `middle` to 0 above it."""
    return 1.0 / (1.0 + np.exp((value - middle) / width))
