"""Laminae that follow from the interlaminar window one wants.

The top edge of every lamina is given in its own bone. The bottom edge of the lamina above lies `step` behind
it, as high as makes the two rounded plates `gap` apart. Height and slope of a lamina are results. The
solution runs from the sacrum upward, because each gap needs the finished lamina below.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from meshes.levels import LEVELS, SACRUM, level_below
from meshes.primitives import NODES, even_curve

# Where a bottom edge is searched, from the top edge below. [mm]
LOWEST, HIGHEST = -25, 40
# Lateral place of the second gap. [mm]
SIX = 6.0


@dataclass(frozen=True, eq=False)
class LaminaEdges:
    """Both edges of a lamina as curves of |x| in the bone's frame, at stature_scale 1.

    Parameters
    ----------
    top_y, top_z, bottom_y, bottom_z : (4,) float
        Centres of the rounded edges at |x| = 0, 4, 8, 12 mm. [mm]
    top_radius, bottom_radius, middle_radius : float
        Half thickness of the plate at its edges and between them. [mm]
    slant : float
        How steeply the bottom edge comes down to the left, as far as 8 mm from the midline. [1]
    """

    top_y: np.ndarray
    top_z: np.ndarray
    bottom_y: np.ndarray
    bottom_z: np.ndarray
    top_radius: float
    bottom_radius: float
    middle_radius: float
    slant: float = 0.0

    def top(self, x):
        """Return (y, z) of the centre of the top edge at lateral places x [mm], each shaped like x."""
        return along_nodes(self.top_y, x), along_nodes(self.top_z, x)

    def bottom(self, x):
        """Return (y, z) of the centre of the bottom edge at lateral places x [mm], each shaped like x."""
        lower = self.slant * np.clip(x, -NODES[2], NODES[2])
        return along_nodes(self.bottom_y, x), along_nodes(self.bottom_z, x) - lower

    def between(self, x, share):
        """Return (y, z) of the mid-surface, `share` of the way from the top to the bottom edge. [mm]"""
        top, bottom = self.top(x), self.bottom(x)
        return tuple(t + share * (b - t) for t, b in zip(top, bottom))

    def slope(self, x):
        """Return the angle between lamina and the body's axis at x, positive where it runs back. [rad]"""
        (top_y, top_z), (bottom_y, bottom_z) = self.top(x), self.bottom(x)
        return np.arctan2(bottom_y - top_y, top_z - bottom_z)

    def height(self, x):
        """Return the length of the section at x, from rim to rim. [mm]"""
        (top_y, top_z), (bottom_y, bottom_z) = self.top(x), self.bottom(x)
        return np.hypot(bottom_y - top_y, top_z - bottom_z) + self.top_radius + self.bottom_radius


def along_nodes(nodes, x):
    """Return the even curve through `nodes` (4,) at lateral places x, shaped like x."""
    if np.ndim(x) == 0:
        return even_curve(nodes, 0, abs(float(x)))
    return np.array([even_curve(nodes, 0, abs(float(one))) for one in np.ravel(x)]).reshape(np.shape(x))


@dataclass(frozen=True, eq=False)
class DiscView:
    """The midsagittal plane of an interspace: y posterior, z along the bisector of the two bodies.

    Each of `upper`, `lower` is (rotation (2, 2), translation (2,)) from the bone's (y, z) to this view.
    """

    upper: tuple
    lower: tuple

    @classmethod
    def between(cls, upper, lower):
        """Return the view between two poses that do not tilt sideways."""
        axis = upper.rotation[1:, 2] + lower.rotation[1:, 2]
        axis = axis / np.linalg.norm(axis)
        view = np.array([[axis[1], -axis[0]], axis])
        return cls(*((view @ pose.rotation[1:, 1:], view @ pose.translation[1:]) for pose in (upper, lower)))

    def from_lower(self, point):
        rotation, translation = self.lower
        return rotation @ point + translation

    def to_upper(self, point):
        rotation, translation = self.upper
        return rotation.T @ (point - translation)


def distance_to_plate(point, top, bottom, *, radii):
    """Return the distance of a point to the rounded section of a lamina, negative inside. [mm]

    Parameters
    ----------
    point, top, bottom : (2,) float
        Centres of the edges, all in one sagittal plane. [mm]
    radii : (3,) float
        At the top, at the bottom, and in the middle, to which the plate swells. [mm]
    """
    ay, az = bottom[0] - top[0], bottom[1] - top[1]
    py, pz = point[0] - top[0], point[1] - top[1]
    h = min(max((py * ay + pz * az) / (ay * ay + az * az), 0.0), 1.0)
    swell = 4.0 * h * (1.0 - h)
    swell *= 2.0 - swell
    edge = radii[0] + (radii[1] - radii[0]) * h
    return math.hypot(py - h * ay, pz - h * az) - edge - (radii[2] - edge) * swell


@dataclass(frozen=True)
class Window:
    """Clearance and step of an interspace as functions of the lateral place.

    `clear_middle`, `clear_six`: square-on clearance between the rims at 0 and 6 mm. `step_middle`,
    `step_six`: how far the edge above lies behind the edge below. `half_width`: where the clearance ends.
    All in mm.
    """

    clear_middle: float
    clear_six: float
    step_middle: float
    step_six: float
    half_width: float

    def clearance(self, x):
        """Return the clearance at x >= 0: a parabola to 6 mm, then straight to zero at the half width."""
        if x <= SIX:
            return self.clear_middle + (self.clear_six - self.clear_middle) * (x / SIX) ** 2
        slope = max(self.clear_six / max(self.half_width - SIX, 0.7), 1.2) if self.clear_six > 0.0 else 1.2
        return self.clear_six - slope * (x - SIX)

    def step(self, x):
        """Return the step at x >= 0."""
        if x <= SIX:
            return self.step_middle + (self.step_six - self.step_middle) * x / SIX
        return self.step_six * (1.0 - 0.045 * (x - SIX))


class NoRoomError(ValueError):
    """No lamina can be built that leaves the gap asked for."""


def height_for_gap(top, bottom, *, radii, radius, step, gap):
    """Return how far above `top` an edge of `radius` must lie, `step` behind it, to be `gap` away. [mm]

    The highest such place: from above, the edge comes down until the distance is the gap.

    Raises
    ------
    NoRoomError
        If the edge stays further away than `gap` over the whole height of the plate.
    """

    def excess(height):
        point = top[0] + step, top[1] + height
        return distance_to_plate(point, top, bottom, radii=radii) - radius - gap

    for height in range(HIGHEST - 1, LOWEST - 1, -1):
        if excess(height) <= 0.0:
            return brentq(excess, height, height + 1, xtol=1e-12)
    raise NoRoomError(
        f"gap must be reachable, got {gap:g} mm at a step of {step:g} mm: widen the window or lessen the step"
    )


def solve_window(size, view, *, below, radius):
    """Return the `Window` whose gaps at 0 and 6 mm are those of `size`, above the finished lamina `below`.

    `radius` is that of the edge above. [mm]
    """
    radii = below.top_radius, below.bottom_radius, below.middle_radius
    clear = []
    for x, place in ((0.0, "midline"), (SIX, "six")):
        top, bottom = (view.from_lower(np.array(edge)) for edge in (below.top(x), below.bottom(x)))
        step, gap = size[f"step_at_{place}"], size[f"gap_at_{place}"]
        height = height_for_gap(top, bottom, radii=radii, radius=radius, step=step, gap=gap)
        clear.append(height - radius - below.top_radius)
    return Window(*clear, size["step_at_midline"], size["step_at_six"], size["window_half_width"])


def top_nodes(numbers):
    """Return (y, z), each (4,), of the centres of the top edge at the nodes, from `Dimensions`. [mm]"""
    radius = numbers.upper_edge_radius
    # Beyond 8 mm nothing was measured: how the edge runs on to the root of the process is drawn.
    forward, up = {
        "L1": (0.0, 9.0),
        "L2": (0.0, 9.0),
        "L3": (0.0, 9.0),
        "L4": (3.0, 6.0),
        "L5": (3.0, 4.0),
    }.get(numbers.level, (1.5, 3.0))
    eight = numbers["lamina_forward_at_eight"]
    back = np.array([0.0, numbers["lamina_forward_at_four"], eight, eight + forward])
    heights = [numbers[f"lamina_top_at_{place}"] for place in ("midline", "four", "eight")]
    y = numbers.posterior_wall + numbers["canal_depth"] + radius + 0.3 - back
    z = 0.5 * numbers.posterior_height + np.array([*heights, heights[2] + up]) - radius
    return y, z


def solve_lamina(numbers, view, *, below, half_width=None):
    """Return the `LaminaEdges` of one bone above the finished lamina `below`, seen in their `DiscView`.

    `half_width` is that of the window; that of the bone's numbers if not given. [mm]
    """
    top_y, top_z = top_nodes(numbers)
    radius = numbers.lower_edge_radius
    window = solve_window(numbers.size, view, below=below, radius=radius)
    window = window if half_width is None else replace(window, half_width=half_width)

    def edge(x):
        top = view.from_lower(np.array(below.top(x)))
        rise = window.clearance(x) + radius + below.top_radius
        return view.to_upper(top + np.array([window.step(x), rise]))

    bottom_y, bottom_z = np.array([edge(x) for x in NODES]).T
    floor = -0.5 * numbers.posterior_height - numbers["inferior_process_reach"] + radius
    if numbers.lumbar_like:
        bottom_z[2:] = np.minimum(np.maximum(bottom_z[2:], floor), bottom_z[1])
    else:
        bottom_z[2:] = np.maximum(edge(SIX)[1] + np.array([0.2, 1.4]), floor)
    bottom_y[3] = max(bottom_y[3], top_y[3] + 2.0)
    middle = 0.5 * numbers["lamina_thickness"]
    return LaminaEdges(top_y, top_z, bottom_y, bottom_z, numbers.upper_edge_radius, radius, middle)


def solve_laminae(dimensions, poses, *, sacrum):
    """Return ({level: LaminaEdges}, the same without thick facets) of T6..S1.

    Thick facets bring the corners of a lamina down, and with them nothing else: the pars hangs on the sound
    lamina, and the lamina above is solved over it.

    Parameters
    ----------
    dimensions : dict
        {level: Dimensions} of T6..L5.
    poses : dict
        {level: Pose} in which the windows are wanted, without sideways tilt, at stature_scale 1.
    sacrum : LaminaEdges
        The lamina of S1, which is given.
    """
    edges, sound = {SACRUM: sacrum}, {SACRUM: sacrum}
    for level in reversed(LEVELS):
        numbers, lower = dimensions[level], level_below(level)
        view = DiscView.between(poses[level], poses[lower])
        whole = solve_lamina(numbers, view, below=sound[lower], half_width=numbers.sound_half_width)
        thick = numbers.inferior_hypertrophy > 0.0
        sound[level] = whole
        edges[level] = solve_lamina(numbers, view, below=sound[lower]) if thick else whole
    return edges, sound
