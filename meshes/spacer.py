"""A spacer between two spinous processes: a bar that keeps them apart, and a wing on each side of them."""

from dataclasses import dataclass

import numpy as np

from meshes.findings import InterspinousImplant, of_kind
from meshes.frames import unit
from meshes.levels import split_interspace
from meshes.tables.loader import number

# Depths in front of the shallower tip at which room for the bar is looked for. [mm at stature 1]
IN_FRONT_OF_TIP = np.arange(6.0, 17.0, 1.0)
ALONG = np.linspace(0.0, 1.0, 25)  # share of the way from the lower to the upper tip
REACH, STEP = 20.0, 0.2  # [mm] within which the two processes are looked for
# Outline of the H in its plane as corners of (bar or wing, bar's or wing's end), and its triangles.
OUTLINE = (
    (1, 1),
    (1, 2),
    (2, 2),
    (2, -2),
    (1, -2),
    (1, -1),
    (-1, -1),
    (-1, -2),
    (-2, -2),
    (-2, 2),
    (-1, 2),
    (-1, 1),
)
RIGHT_WING = (0, 2, 1), (0, 3, 2), (0, 5, 3), (5, 4, 3)
LEFT_WING = (10, 9, 11), (11, 9, 8), (11, 8, 6), (6, 8, 7)
CAP = (*RIGHT_WING, *LEFT_WING, (0, 6, 5), (0, 11, 6))


@dataclass(frozen=True, eq=False)
class Spacer:
    """One spacer in the patient's frame. [mm]

    Parameters
    ----------
    interspace : str
    centre : (3,) float
    axes : (3, 3) float
        Unit rows: left, dorsal, up from the lower process to the upper one.
    height : float
        Of the bar.
    """

    interspace: str
    centre: np.ndarray
    axes: np.ndarray
    height: float

    @property
    def half_sizes(self):
        """Half widths of the bar and of the whole, half depth, half heights of bar and wings. [mm]"""
        size = {
            name: number("implants", f"spacer.{name}")
            for name in ("width", "wing_width", "depth", "wing_reach")
        }
        half = 0.5 * size["width"]
        high = 0.5 * self.height
        return half, half + size["wing_width"], 0.5 * size["depth"], high, high + size["wing_reach"]

    def distance(self, points):
        """Return the signed distance (...) of points (..., 3) to the spacer, exact outside. [mm]"""
        local = (np.asarray(points) - self.centre) @ self.axes.T
        bar, wide, deep, high, long = self.half_sizes
        local[..., 0] = np.abs(local[..., 0])
        middle = 0.5 * (bar + wide)
        wing = _box(local - [middle, 0.0, 0.0], (wide - middle, deep, long))
        return np.minimum(wing, _box(local, (bar, deep, high)))


def _box(points, half):
    beyond = np.abs(points) - half
    outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=-1)
    return outside + np.minimum(beyond.max(axis=-1), 0.0)


def _free(packed, start, direction):
    """Return how far one can go from `start` before a bone is met, REACH at most. [mm]"""
    places = np.arange(0.0, REACH, STEP)
    hit = packed.nearest(start + places[:, None] * direction) <= 0.0
    return float(places[int(np.argmax(hit))] if hit.any() else REACH)


def place_spacer(anatomy, interspace):
    """Return the Spacer between the spinous processes of an interspace.

    It stands where there is most room between them, as high as that room, but never lower than the table's
    least: processes that touch are drawn apart by it only in the eye, not in the pose.
    """
    upper, lower = split_interspace(interspace)
    scale, packed = anatomy.parameters.stature_scale, anatomy.packed
    tips = [
        anatomy.poses[level].apply(scale * np.array([shape.spinous_lean, *shape.spinous_tip]))
        for level, shape in ((level, anatomy.bones[level].shape) for level in (upper, lower))
    ]
    left = unit(anatomy.poses[upper].rotation[:, 0] + anatomy.poses[lower].rotation[:, 0])
    dorsal = unit(anatomy.poses[upper].rotation[:, 1] + anatomy.poses[lower].rotation[:, 1])
    up = np.cross(left, dorsal)
    shallow = min(float(tip @ dorsal) for tip in tips)
    row = tips[1] + ALONG[:, None] * (tips[0] - tips[1])
    row = row - (row @ dorsal - shallow)[:, None] * dorsal
    places = row[None] - (scale * IN_FRONT_OF_TIP)[:, None, None] * dorsal
    room = packed.nearest(places)
    start = places[np.unravel_index(np.argmax(room), room.shape)]
    above, below = _free(packed, start, up), _free(packed, start, -up)
    height = max(above + below, number("implants", "spacer.least_height"))
    centre = start + 0.5 * (above - below) * up
    return Spacer(interspace, centre, np.array([left, dorsal, up]), height)


def spacers(anatomy):
    """Return the tuple of all Spacers of an anatomy's findings."""
    found = of_kind(anatomy.parameters.findings, InterspinousImplant)
    return tuple(place_spacer(anatomy, finding.interspace) for finding in found)


def spacer_mesh(spacer):
    """Return (vertices, faces) of a spacer, one closed body."""
    bar, wide, deep, high, long = spacer.half_sizes
    across, along = {1: bar, 2: wide}, {1: high, 2: long}
    flat = np.array([[np.sign(x) * across[abs(x)], np.sign(z) * along[abs(z)]] for x, z in OUTLINE])
    front, back = (np.insert(flat, 1, y, axis=1) for y in (-deep, deep))
    local = np.concatenate([front, back])
    count, cap = len(OUTLINE), np.array(CAP)
    i = np.arange(count)
    j = (i + 1) % count
    walls = np.concatenate([np.stack([i, j, j + count], -1), np.stack([i, j + count, i + count], -1)])
    return spacer.centre + local @ spacer.axes, np.concatenate([cap, cap[:, ::-1] + count, walls])
