"""The spinal canal as a chart: where in it is a point, and how far away are wall, dura and cord.

u is the arc length along the centre of the dural sac, caudal to cranial; theta the angle about it, 0
dorsal and positive toward the patient's left; r the distance from it. The chart is the one source of
levels, sides and clearances for the rod, the needle and every read-out.
"""

from dataclasses import dataclass, field

import numpy as np

from meshes.canal_axis import Axis
from meshes.canal_kernels import chart_contacts, frames, surface_radii
from meshes.canal_marks import BEHIND_WALL, Interspace
from meshes.distance import check_points
from meshes.frames import Pose
from meshes.tables.loader import number

# Beyond the last bones the roof runs away: read nothing nearer to the ends than this. [mm]
CAUDAL_LIMIT, CRANIAL_LIMIT = 10.0, 12.0
# A flavum is met so far below the edge that it springs from. [mm]
BELOW_FLAVUM = 2.0


@dataclass(frozen=True, eq=False)
class CanalChart:
    """A baked chart of the canal, S1 to T6.

    Valid from 10 mm above its caudal to 12 mm below its cranial end, inside the wall; the depth of a
    foramen is cut at 7 mm. Wall, dura and cord must be visible from the axis (star-shaped sections).

    Parameters
    ----------
    levels : tuple of str
        Caudal to cranial.
    u : (n,) float
        Stations, 1 mm apart. [mm]
    centre, tangent, left, dorsal : (n, 3) float
        The axis and its frame.
    theta : (m,) float
        [rad]
    wall, dura, cord, closed_wall, bone_wall, roof : (n, m) float
        Radii: the wall as shaped; the dura; the cord (0 where it does not hold the axis); the wall with
        its foramina bridged; bone alone; bone, flavum and disc before shaping. [mm]
    sac_depth, sac_width, cord_half_depth, cord_half_width, cord_offset : (n,) float
        Half axes of the ellipses, and how far the cord lies dorsal of the axis. [mm]
    cord_shift : float
        How far the cord lies to the left of the axis. [mm]
    flavum_thickness : (n,) float
        [mm]
    friction_scale, memory_scale : (n,) float
        Multipliers of the tissue laws; 1 is healthy fat.
    interspaces : dict
        {name: Interspace}, caudal to cranial.
    level_spans : tuple of (level, u_bottom, u_top)
        Stations of the posterior rims of each body. [mm]
    ossified, flavum_gaps : tuple of str
        Interspaces whose flavum is bone, or parted on the midline.
    missing_flava : dict
        {interspace: "both", "left" or "right"} of the flava that have been removed.
    frame_coefficients, surface_coefficients, radius_coefficients, height_table, params
        What the kernels read; layout in canal_kernels.py.
    """

    levels: tuple
    u: np.ndarray
    centre: np.ndarray
    tangent: np.ndarray
    left: np.ndarray
    dorsal: np.ndarray
    theta: np.ndarray
    wall: np.ndarray
    dura: np.ndarray
    cord: np.ndarray
    closed_wall: np.ndarray
    bone_wall: np.ndarray
    roof: np.ndarray
    sac_depth: np.ndarray
    sac_width: np.ndarray
    cord_half_depth: np.ndarray
    cord_half_width: np.ndarray
    cord_offset: np.ndarray
    cord_shift: float
    flavum_thickness: np.ndarray
    friction_scale: np.ndarray
    memory_scale: np.ndarray
    interspaces: dict
    level_spans: tuple
    frame_coefficients: np.ndarray
    surface_coefficients: np.ndarray
    radius_coefficients: np.ndarray
    height_table: np.ndarray
    params: np.ndarray
    poses: dict = field(repr=False)
    posterior_walls: dict = field(repr=False)
    ossified: tuple = ()
    missing_flava: dict = field(default_factory=dict)
    flavum_gaps: tuple = ()

    @property
    def axis(self):
        return Axis(self.u, self.centre, self.tangent, self.left, self.dorsal)

    @property
    def valid_span(self):
        """Return (first, last) station that may be read. [mm]"""
        return self.u[0] + CAUDAL_LIMIT, self.u[-1] - CRANIAL_LIMIT

    def contacts(self, points):
        """Return `chart_contact` (n, 11) of points (n, 3)."""
        # One kind of array, so that the kernel is compiled once: read-only ones are another type to it.
        points = np.require(points, float, ["C", "W"])
        return chart_contacts(
            self.frame_coefficients, self.surface_coefficients, self.height_table, self.params, points
        )

    def to_chart(self, points):
        """Return station u [mm], angle theta [rad] and radius r [mm], each (...), of points (..., 3)."""
        points = check_points(points)
        out = self.contacts(points.reshape(-1, 3))
        return tuple(out[:, k].reshape(points.shape[:-1])[()] for k in (8, 9, 10))

    def to_world(self, u, theta, r):
        """Return points (..., 3) in the patient's frame; u, theta, r are broadcast. [mm]"""
        u, theta, r = np.broadcast_arrays(*(np.asarray(v, float) for v in (u, theta, r)))
        centre, _, left, dorsal = self.frame_at(u)
        return centre + (r * np.sin(theta))[..., None] * left + (r * np.cos(theta))[..., None] * dorsal

    def frame_at(self, u):
        """Return centre, tangent, left, dorsal, each (..., 3), at stations u (...)."""
        u = np.asarray(u, float)
        rows = frames(self.frame_coefficients, self.params, np.ascontiguousarray(u).reshape(-1))
        return tuple(rows[:, k : k + 3].reshape(*u.shape, 3) for k in (0, 3, 6, 9))

    def radii(self, u, theta):
        """Return the radii (...) of cord, closed wall, dura and wall at u, theta (broadcast). [mm]"""
        u, theta = np.broadcast_arrays(np.asarray(u, float), np.asarray(theta, float))
        flat = (np.ascontiguousarray(v).reshape(-1) for v in (u, theta))
        rows = surface_radii(self.radius_coefficients, self.params, *flat)
        return tuple(rows[:, k].reshape(u.shape)[()] for k in range(4))

    def station(self, level, height=0.0):
        """Return the station u of a body, `height` above its centre in the bone's frame. [mm]

        Raises
        ------
        ValueError
            If the chart does not cover the level.
        """
        if level not in self.levels:
            raise ValueError(
                f"level must be one of {', '.join(self.levels)}, got {level!r}: name a level of the chart"
            )
        pose: Pose = self.poses[level]
        return float(self.axis.station(pose.apply([0.0, self.posterior_walls[level] + BEHIND_WALL, height])))

    def interspace(self, name):
        """Return the Interspace of a name such as 'T12-L1', or raise ValueError naming those charted."""
        if name not in self.interspaces:
            raise ValueError(
                f"interspace must be one of {', '.join(reversed(self.interspaces))}, got {name!r}: "
                "name one between these, where the canal is modelled to its full depth"
            )
        mark: Interspace = self.interspaces[name]
        return mark

    def interspace_of(self, station):
        """Return the name of the interspace whose flavum covers a station, or None under a lamina."""
        for name, mark in self.interspaces.items():
            if mark.flavum_caudal - BELOW_FLAVUM <= station <= mark.flavum_cranial:
                return name
        return None

    def flavum_state(self, name, offset):
        """Return what a needle meets `offset` mm to the left of the midline.

        "whole", "bone" (ossified), "parted" (a cleft on the midline) or "gone" (removed by surgery).
        """
        gone = self.missing_flava.get(name)
        if gone == "both" or gone == ("left" if offset > 0.0 else "right"):
            return "gone"
        if name in self.ossified:
            return "bone"
        if name in self.flavum_gaps and abs(offset) < 0.5 * number("flavum", "gap_width"):
            return "parted"
        return "whole"
