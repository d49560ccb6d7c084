"""Skin, fat and fascia of the back as height fields over (x, z), and the canal seen from behind.

The fascia bridges the tips of the spinous processes and follows their row from side to side, so that a
scoliotic back keeps its furrow over the bones; it turns with the vertebrae, which raises the hump. Fat and
skin lie on it, thicker at some levels than at others, and swell into the buttocks below; how much thicker
does not depend on the size of the body, which adds one thickness everywhere: only the layer above the
supraspinous ligament changes with it (Bahk et al., Reg Anesth Pain Med 1998;23:262).
"""

import math
from dataclasses import dataclass

import numpy as np

from meshes.back_profile import (
    EXTRA,
    LINE,
    ROW,
    SEAT,
    TURN,
    fascia_line,
    spinous_line,
    spinous_tips,
    turned_back,
)
from meshes.canal_heights import HALF_WIDTH, SPACING, canal_heights
from meshes.compiled import kernel
from meshes.cover import buttock_height, fit_cover
from meshes.findings import Laminectomy, of_kind
from meshes.levels import check_interspace
from meshes.sound_canal import disturbed, sound_centre, taken_behind
from meshes.tables.loader import number
from meshes.trunk import trunk_mesh

STEP = 1.0  # [mm] of all tables along z
BELOW, ABOVE = 150.0, 70.0  # [mm] how far the back goes on below the origin and above the highest tip
FARTHEST = 160.0  # [mm] from the row of spinous processes; the side of the trunk
CLEFT_WIDTH = 40.0  # [mm] from the row to where a buttock has most of its height
ROOF, DURA = 0, 1
CENTRE_X, CENTRE_Y, STATION, LEFT, TANGENT, FLAVUM = 1, 2, 3, 4, 7, 10


@kernel
def along_back(profile, scale, column, z):
    """Return value and slope at height z of what a column of the profile holds."""
    f = (z - scale[0]) / scale[1]
    i = min(max(int(f), 0), profile.shape[0] - 2)
    t = min(max(f - i, 0.0), 1.0)
    low, high = profile[i, column], profile[i + 1, column]
    low_slope, high_slope = profile[i, column + 1] * scale[1], profile[i + 1, column + 1] * scale[1]
    value = (1.0 + 2.0 * t) * (1.0 - t) ** 2 * low + t * t * (3.0 - 2.0 * t) * high
    value += t * (1.0 - t) ** 2 * low_slope + t * t * (t - 1.0) * high_slope
    slope = 6.0 * t * (t - 1.0) * (low - high)
    slope += (1.0 - t) * (1.0 - 3.0 * t) * low_slope + t * (3.0 * t - 2.0) * high_slope
    return value, slope / scale[1]


@kernel
def fascia_height(profile, scale, x, z):
    """Return y of the fascia, its slopes dy/dx, dy/dz, x of the row of spinous processes and its slope."""
    line, line_by_z = along_back(profile, scale, LINE, z)
    row, row_by_z = along_back(profile, scale, ROW, z)
    s = x - row
    bell = scale[5] * math.exp(-((s / scale[6]) ** 2))
    turn, turn_by_z = along_back(profile, scale, TURN, z)
    # Fades out toward the flanks, which stay where they are.
    far = min((s / FARTHEST) ** 2, 1.0)
    by_x = 2.0 * s * (bell / scale[6] ** 2 - scale[7]) + turn * ((1.0 - 3.0 * far) if far < 1.0 else 0.0)
    hump = s * (1.0 - far)
    y = line + scale[5] - bell - scale[7] * s * s + turn * hump
    return y, by_x, line_by_z - by_x * row_by_z + turn_by_z * hump, row, row_by_z


@kernel
def skin_frame(profile, scale, x, z):
    """Return y of the skin, outward normal (3), cranial (3) and left (3) tangent as one tuple of 10.

    Cranial runs along the row of spinous processes, so that angles are told from the patient's own midline.
    """
    y, by_x, by_z, row, row_by_z = fascia_height(profile, scale, x, z)
    extra, extra_by_z = along_back(profile, scale, EXTRA, z)
    seat, seat_by_z = along_back(profile, scale, SEAT, z)
    s = x - row
    bell = math.exp(-((s / CLEFT_WIDTH) ** 2))
    y += scale[4] + extra + seat * (1.0 - bell)
    by_s = seat * 2.0 * s / CLEFT_WIDTH**2 * bell
    by_x += by_s
    by_z += extra_by_z + seat_by_z * (1.0 - bell) - by_s * row_by_z
    length = math.sqrt(1.0 + by_x * by_x + by_z * by_z)
    nx, ny, nz = -by_x / length, 1.0 / length, -by_z / length
    along = by_z + by_x * row_by_z
    length = math.sqrt(row_by_z * row_by_z + along * along + 1.0)
    cx, cy, cz = row_by_z / length, along / length, 1.0 / length
    lx, ly, lz = ny * cz - nz * cy, nz * cx - nx * cz, nx * cy - ny * cx
    return y, nx, ny, nz, cx, cy, cz, lx, ly, lz


@kernel
def canal_height(heights, guide, scale, surface, x, z):
    """Return y of the dorsal wall (0) or dura (1) at (x, z); falls steeply beyond the sides."""
    f = min(max((z - scale[0]) / scale[1], 0.0), heights.shape[0] - 1.000001)
    i = int(f)
    v = f - i
    across = (x - guide[i, 0] * (1.0 - v) - guide[i + 1, 0] * v - scale[2]) / scale[3]
    g = min(max(across, 0.0), heights.shape[1] - 1.000001)
    j = int(g)
    w = g - j
    low = heights[i, j, surface] * (1.0 - w) + heights[i, j + 1, surface] * w
    high = heights[i + 1, j, surface] * (1.0 - w) + heights[i + 1, j + 1, surface] * w
    return low * (1.0 - v) + high * v - 1.5 * scale[3] * abs(across - g)


@dataclass(frozen=True, eq=False)
class SoftTissue:
    """The layers of the back over the column, as tables for compiled look-ups.

    Valid from the buttocks to the shoulder blades, within 160 mm of the row of spinous processes. Where
    vertebrae are turned the back is turned with them: the hump of a scoliosis.

    Parameters
    ----------
    profile : (n, 10) float
        Every 1 mm of z, each followed by its slope: fascia on the row, x of the row, how much thicker the
        cover is than at L2-L3, height of the buttocks, how far the back is turned (dy/dx on the row).
    heights : (n, k, 2) float
        Dorsal wall and dura over z and across; see canal_heights.
    guide : (n, 11) float
        Axis of the canal over z; see canal_guide.
    scale : (8,) float
        First z, step of z, first step across, step across, cover (fat and skin) at L2-L3, bulge of the
        muscle, its width, curvature of the back.
    fat, skin_thickness : float
        Fat at L2-L3. [mm]
    canal : CanalChart
    stature_scale : float
        How tall the body is against the tables.
    """

    profile: np.ndarray
    heights: np.ndarray
    guide: np.ndarray
    scale: np.ndarray
    fat: float
    skin_thickness: float
    canal: object
    stature_scale: float = 1.0

    def fascia(self, x, z):
        """Return y of the deep fascia at x, z (broadcast together). [mm]"""
        x, z = np.broadcast_arrays(np.asarray(x, float), np.asarray(z, float))
        flat = [fascia_height(self.profile, self.scale, a, b)[0] for a, b in zip(x.ravel(), z.ravel())]
        return np.reshape(flat, x.shape)[()]

    def skin(self, x, z):
        """Return y of the skin at x, z (broadcast together). [mm]"""
        x, z = np.broadcast_arrays(np.asarray(x, float), np.asarray(z, float))
        flat = [skin_frame(self.profile, self.scale, a, b)[0] for a, b in zip(x.ravel(), z.ravel())]
        return np.reshape(flat, x.shape)[()]

    def fat_on_row(self, z):
        """Return the thickness of the fat over the row of spinous processes at heights z. [mm]"""
        extra = np.interp(z, self.heights_of_profile, self.profile[:, EXTRA])
        return self.fat + extra

    @property
    def heights_of_profile(self):
        """z (n,) of the rows of the profile. [mm]"""
        return self.scale[0] + self.scale[1] * np.arange(len(self.profile))

    def midline(self, z):
        """Return x of the row of spinous processes at height z. [mm]"""
        return np.interp(z, self.heights_of_profile, self.profile[:, ROW])

    def skin_frame(self, x, z):
        """Return point on the skin, outward normal, cranial and left tangent, (3,) each."""
        frame = skin_frame(self.profile, self.scale, float(x), float(z))
        return np.array([x, frame[0], z], float), *np.reshape(frame[1:], (3, 3))

    def depth_of(self, point):
        """Return how deep a point (3,) lies under the skin, along the skin's normal. [mm]"""
        point = np.asarray(point, float)
        x, z, depth = point[0], point[2], 0.0
        for _ in range(30):
            y, nx, ny, nz = skin_frame(self.profile, self.scale, x, z)[:4]
            depth = (x - point[0]) * nx + (y - point[1]) * ny + (z - point[2]) * nz
            x, z = point[0] + depth * nx, point[2] + depth * nz
        return float(depth)

    def depth_to_epidural(self, interspace):
        """Return the midline depth of the epidural space below the skin, square to the skin. [mm]

        Told at the middle of the interlaminar gap. Raises ValueError for an unknown interspace.
        """
        return self.depth_of(window_centre(self.canal, interspace))

    def trunk_mesh(self):
        """Return vertices, faces of the trunk's skin as one closed surface, oriented outward. [mm]"""
        return trunk_mesh(self)


def window_stations(canal, interspace):
    """Return the stations of the two bony edges of a gap on the midline, caudal and cranial. [mm]"""
    space = canal.interspace(check_interspace(interspace))
    return space.flavum_caudal, space.lamina_caudal_edge


def window_centre(canal, interspace, *, height=0.5, theta=0.0):
    """Return the point (3,) of the canal's dorsal wall a share `height` up the interlaminar gap. [mm]"""
    low, high = window_stations(canal, interspace)
    station = low + height * (high - low)
    radius = canal.radii(station, theta)[3]
    return np.asarray(canal.to_world(station, theta, np.ravel(radius)[0])).reshape(3)


def sound_centres(canal, bones, parameters):
    """Return {interspace: window centre (3,)} of the dorsal wall as it would be without findings. [mm]"""
    away = disturbed(parameters.findings, canal.interspaces)
    return {
        name: sound_centre(canal, bones, parameters, name) if name in away else window_centre(canal, name)
        for name in canal.interspaces
    }


def build_soft_tissue(parameters, *, bones, poses, packed, canal):
    """Return the SoftTissue over a posed column.

    The fat is as thick as it must be for L2-L3 to lie at `skin_to_epidural`, or at the depth of the body
    mass index, and the other interspaces as much deeper or shallower as published; never thinner than the
    table's least. Fitted over the sound canal: a finding in the canal does not move the skin.

    Source
    ------
    Ravi et al., J Anaesth Clin Pharmacol 2011;27(1):39-42: depth = 17.80 + 0.978 BMI. Other levels: table
    soft_tissue, keys depth_beyond_reference.*.
    """
    tips = spinous_tips(bones, poses, stature_scale=parameters.stature_scale)
    z = np.arange(-BELOW, np.ceil(tips[:, 2].max()) + ABOVE, STEP)
    heights, guide = canal_heights(canal, z)
    row = spinous_line(tips, z)
    figure = {key: number("soft_tissue", key) for key in _DRAWN}
    above, radius = figure["fascia_above_spinous"], figure["envelope_radius"]

    def taken(x, z):
        return taken_behind(bones, poses, parameters, x, z)

    cut = of_kind(parameters.findings, Laminectomy)
    line, slope = fascia_line(
        packed, row, z, front=guide[:, CENTRE_Y], above=above, radius=radius, taken=taken if cut else None
    )
    nothing = np.zeros_like(z)
    seat, seat_slope = buttock_height(z, figure["buttock_height"], scale=parameters.stature_scale)
    turned = turned_back(poses, z)
    columns = [line, slope, row, np.gradient(row, STEP), nothing, nothing, seat, seat_slope, *turned]
    profile = np.column_stack(columns)
    skin, least = figure["skin_thickness"], figure["least_fat"]
    bulge = [figure["paraspinal_bulge"], figure["paraspinal_bulge_width"], figure["back_curvature"]]
    scale = np.array([z[0], STEP, -HALF_WIDTH, SPACING, skin + least, *bulge])
    tissue = SoftTissue(profile, heights, guide, scale, least, skin, canal)
    centres = sound_centres(canal, bones, parameters)
    fit_cover(tissue, parameters, centres=centres, least=skin + least)
    return SoftTissue(
        profile, heights, guide, scale, float(scale[4] - skin), skin, canal, parameters.stature_scale
    )


_DRAWN = (
    "fascia_above_spinous",
    "envelope_radius",
    "skin_thickness",
    "least_fat",
    "paraspinal_bulge",
    "paraspinal_bulge_width",
    "back_curvature",
    "buttock_height",
)
