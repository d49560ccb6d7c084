"""A back whose answers are known in closed form: flat skin over a straight round canal, with chosen bones.

Skin at y = 0, fascia at -10, back of the flavum -37, epidural entry -40, dura -44; the canal runs along z.
"""

from types import SimpleNamespace

import numpy as np

from meshes.canal import CanalChart
from meshes.canal_heights import canal_heights
from meshes.canal_marks import Interspace
from meshes.distance import DistanceGrid, PackedBones
from meshes.parameters import SpineParameters
from meshes.soft_tissue import SoftTissue

FASCIA, ENTRY, DURA, FLAVUM, WALL_RADIUS = -10.0, -40.0, -44.0, 3.0, 12.0
LENGTH = 300.0  # [mm] of the canal, from z = -150 to 150


def straight_canal():
    """Return a CanalChart of a cylinder; one interspace, T12-L1, whose gap lies at z = -10 to 10."""
    u = np.arange(0.0, LENGTH + 1.0)
    theta = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    centre = np.column_stack([0.0 * u, 0.0 * u + ENTRY - WALL_RADIUS, u - 0.5 * LENGTH])
    tangent, left, dorsal = (np.tile(row, (u.size, 1)) for row in ([0.0, 0, 1], [1.0, 0, 0], [0.0, 1, 0]))
    wall = np.full((u.size, theta.size), WALL_RADIUS)
    dura, cord, one = wall + DURA - ENTRY, np.full_like(wall, 3.0), np.ones_like(u)
    # A cubic B-spline whose coefficients are linear in the station is that line itself.
    frames = np.hstack([centre, tangent, left, dorsal])
    surfaces = np.stack([wall, np.ones_like(wall), dura, np.ones_like(wall)], axis=-1)
    heights = np.arange(-160.0, 161.0, 2.0)
    half = 0.5 * LENGTH
    middle = Interspace("T12", "L1", half - 10.0, half + 20.0, half - 5.0, half + 5.0, half + 10.0)
    return CanalChart(
        levels=("L1", "T12"), u=u, centre=centre, tangent=tangent, left=left, dorsal=dorsal, theta=theta,
        wall=wall, dura=dura, cord=cord, closed_wall=wall, bone_wall=wall + 6.0, roof=wall,
        sac_depth=8.0 * one, sac_width=8.0 * one, cord_half_depth=3.0 * one, cord_half_width=3.0 * one,
        cord_offset=0.0 * one, cord_shift=0.0, flavum_thickness=FLAVUM * one, friction_scale=one,
        memory_scale=one, interspaces={"T12-L1": middle}, level_spans=(),
        frame_coefficients=frames, surface_coefficients=surfaces,
        radius_coefficients=np.stack([cord, wall, dura, wall], axis=-1),
        height_table=np.clip(heights + half, 0.0, LENGTH), params=np.array([0.0, 1.0, heights[0], 2.0]),
        poses={}, posterior_walls={},
    )  # fmt: skip


def packed_field(distance, low, high, pitch, *, reach=60.0):
    """Return PackedBones of one bone, named L1, whose exact distance is `distance(x, y, z)`."""
    low = np.asarray(low, float)
    count = np.ceil((np.asarray(high) - low) / pitch).astype(int) + 1
    axes = [low[k] + pitch * np.arange(count[k]) for k in range(3)]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    values = np.ascontiguousarray(distance(x, y, z).transpose(2, 1, 0), dtype=np.float32)
    grid = DistanceGrid(values, low, pitch, 0.0, reach)
    return PackedBones(values.reshape(-1), grid.row()[None], ("L1",))


def no_bones():
    """Return PackedBones so far away that no needle meets them."""
    return packed_field(lambda x, y, z: 0.0 * x + 50.0, (-5, 400, -5), (5, 410, 5), 1.0)


def flat_anatomy(packed=None):
    """Return a stand-in for an Anatomy that the needle's kernels can ask."""
    canal = straight_canal()
    z = np.arange(-140.0, 141.0)
    heights, guide = canal_heights(canal, z)
    profile = np.tile([FASCIA, *np.zeros(9)], (z.size, 1))
    # No bulge and no curvature: a plane.
    scale = np.array([z[0], 1.0, -14.0, 1.0, -FASCIA, 0.0, 18.0, 0.0])
    tissue = SoftTissue(profile, heights, guide, scale, 8.0, 2.0, canal)
    packed = packed if packed is not None else no_bones()
    parameters = SpineParameters()
    return SimpleNamespace(parameters=parameters, packed=packed, obstacles=packed, tissue=tissue, canal=canal)
