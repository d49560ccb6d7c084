"""Nerve roots as closed tubes: from the cord down the sac to the sleeve, and out through the foramen.

The root of a vertebra leaves under its pedicle. Dorsal and ventral rootlets, ganglia and branches are not
drawn: one tube stands for a root, for X-ray, pictures and "how near is the root".
"""

import numpy as np

from meshes.frames import unit
from meshes.levels import LEVELS
from meshes.neuraxis import tube
from meshes.tables.loader import number
from meshes.units import radians

SIDES = (("left", 1.0), ("right", -1.0))
AROUND = 10
ENTRY_ANGLE, SLEEVE_ANGLE = radians(55.0), radians(98.0)  # where a root leaves the cord and the sac
UNDER_PEDICLE = 0.32  # share of the body's height below its centre at which the foramen is crossed
SLEEVE_ABOVE = 6.0  # [mm] of the foramen, along the canal
IN_SAC = 0.45  # [mm] kept from the inside of the dura beside the root's radius
OUTSIDE, CAUDAL_FALL = 16.0, 9.0  # [mm] how far beyond the foramen a root is drawn, and its fall on the way
FROM_BONE = 0.4  # [mm] kept from bone beside the radius
STEPS, FREEING = 49, 30
LEAST_ENTRY = 3.0  # [mm] above the conus


def root_radius(level):
    """Return the radius of a root, linear between the levels of the table. [mm]"""
    known = ("T6", "T12", "L1", "L5")
    rows = [LEVELS.index(name) for name in known]
    return float(
        np.interp(LEVELS.index(level), rows, [number("ligaments", f"root.radius.{n}") for n in known])
    )


def entry_station(canal, level):
    """Return the station at which a root leaves the cord, but not beyond what the chart may tell. [mm]

    T6 to T12 two bodies above; L1 to L5 from there down to just above the conus.
    """
    above = number("ligaments", "root.entry_in_bodies")
    row = LEVELS.index(level)
    stations = np.array([canal.station(name) for name in LEVELS])
    conus = canal.u[canal.cord_half_depth > 0.3][0]
    lowest = LEVELS.index("T12")
    at_t12 = float(np.interp(lowest - above, np.arange(len(LEVELS)), stations))
    if row > lowest:
        last = conus + LEAST_ENTRY + 10.0 * number("ligaments", "root.last_entry")
        return at_t12 + (last - at_t12) * (row - lowest) / (len(LEVELS) - 1 - lowest)
    if row < above:
        return float(canal.valid_span[1])
    return float(min(np.interp(row - above, np.arange(len(LEVELS)), stations), canal.valid_span[1]))


def _inside(canal, level, sign, *, sleeve, radius):
    """Return points (k, 3) from the cord to the sleeve, inside the dura."""
    share = np.linspace(0.0, 1.0, STEPS)
    entry = max(entry_station(canal, level), sleeve + 2.0)
    u = entry + (sleeve - entry) * share
    theta = ENTRY_ANGLE + (SLEEVE_ANGLE - ENTRY_ANGLE) * share**2
    cord, _, dura, _ = canal.radii(u, sign * theta)
    r = cord + (dura - IN_SAC - radius - cord) * (0.25 + 0.75 * share)
    return canal.to_world(u, sign * theta, np.maximum(r, 0.5))


def _freed(packed, points, radius):
    """Return points moved out of bone along the slope of the distance, the ends of each step smoothed."""
    points = points.copy()
    for _ in range(FREEING):
        room = packed.nearest(points) - radius - FROM_BONE
        if room.min() >= 0.0:
            break
        slope = [packed.nearest(points + 0.2 * e) - packed.nearest(points - 0.2 * e) for e in np.eye(3)]
        slope = np.stack(slope, axis=-1)
        slope /= np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-9)
        points += 0.7 * np.maximum(-room, 0.0)[:, None] * slope
        points[1:-1] = 0.25 * points[:-2] + 0.5 * points[1:-1] + 0.25 * points[2:]
    return points


def root_path(anatomy, level, sign):
    """Return points (n, 3) along the middle of one root, from the cord outward. [mm]"""
    canal, radius = anatomy.canal, anatomy.parameters.stature_scale * root_radius(level)
    low, high = next((low, high) for name, low, high in canal.level_spans if name == level)
    foramen = low + (0.5 - UNDER_PEDICLE) * (high - low)
    sleeve = foramen + SLEEVE_ABOVE
    inner = _inside(canal, level, sign, sleeve=sleeve, radius=radius)
    closed_wall = canal.radii(foramen, sign * SLEEVE_ANGLE)[1]
    mouth = canal.to_world(foramen, sign * SLEEVE_ANGLE, closed_wall + 1.0)
    _, tangent, left, dorsal = canal.frame_at(foramen)
    end = mouth + OUTSIDE * sign * left - CAUDAL_FALL * tangent - 0.35 * OUTSIDE * dorsal
    outer = np.vstack([inner[-1], mouth, end])
    share = np.linspace(0.0, 2.0, STEPS)[1:]
    outer = np.column_stack([np.interp(share, [0.0, 1.0, 2.0], outer[:, k]) for k in range(3)])
    return np.vstack([inner, _freed(anatomy.packed, outer, radius)])


def _smooth(points):
    for _ in range(3):
        points[1:-1] = 0.25 * points[:-2] + 0.5 * points[1:-1] + 0.25 * points[2:]
    return points


def root_mesh(anatomy, level, sign):
    """Return vertices, faces of one root, closed, outward; sign 1 for the patient's left. [mm]"""
    path = _smooth(root_path(anatomy, level, sign))
    tangent = unit(np.gradient(path, axis=0))
    # Any direction square to the path that turns little along it.
    side = anatomy.canal.dorsal[len(anatomy.canal.u) // 2]
    first = unit(side - np.sum(tangent * side, axis=1, keepdims=True) * tangent)
    second = np.cross(tangent, first)
    angle = np.linspace(0.0, 2.0 * np.pi, AROUND, endpoint=False)[:, None]
    radius = anatomy.parameters.stature_scale * root_radius(level)
    rings = path[:, None] + radius * (np.cos(angle) * first[:, None] + np.sin(angle) * second[:, None])
    return tube(rings)


def root_meshes(anatomy):
    """Return {"T12 left root": (vertices, faces), ...} of the levels of the chart. [mm]"""
    return {
        f"{level} {side} root": root_mesh(anatomy, level, sign)
        for level in LEVELS
        if level in anatomy.canal.levels
        for side, sign in SIDES
    }
