"""Everything that a slice asks for at a point, gathered once for each anatomy: grids, chart, maps, lists.

The room is parted into blocks of 6 mm; each lists the few bones, chains and discs that can matter in it.
"""

from collections import namedtuple
from weakref import WeakKeyDictionary

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from meshes import findings as f
from meshes.disc import plate_rim
from meshes.distance import pack_bones
from meshes.frames import Pose, unit
from meshes.implants import implant_grids
from meshes.levels import COLUMN, INTERSPACES, split_interspace
from meshes.ligaments import calcified_ligaments
from meshes.obstacles import mesh_grid
from meshes.pelvis import pelvis_meshes
from meshes.tables.loader import number
from meshes.trunk import half_width
from trainer.physics import slice_tissues as t
from trainer.physics.slice_capsules import SAC_ENTERS, capsules
from trainer.physics.slice_lists import bones_of_blocks, capsule_lists, height_maps

BLOCK = 6.0
MAP_STEP = 2.0
SIDE = 168.0  # [mm] to either side that is modelled
BELOW, ABOVE = 150.0, 30.0  # [mm] below the origin, above the chart
NEAR_CANAL, NEAR_DISC = 27.0, 42.0
PELVIS_PITCH = 1.6
# Along the sacral canal, in the frame of S1, caudal to cranial. [mm at stature 1]
SACRAL_LINE = np.array([[0.0, 30.0, -85.0], [0.0, 30.0, -62.0], [0.0, 26.0, -30.0], [0.0, 24.0, -8.0]])
TEXTURE = 64  # points of a side of the texture, which repeats

Fields = namedtuple(
    "Fields",
    "bone_values bone_table bone_facts other_values other_table other_tissue "
    "first block_bones block_others block_guess block_disc capsule_start capsule_list capsules "
    "frames radii along "
    "disc_facts disc_rims maps map_facts rows row_facts texture",
)
_kept = WeakKeyDictionary()


def tissue_fields(anatomy):
    """Return the Fields of an anatomy; built once, then kept as long as the anatomy lives."""
    if anatomy not in _kept:
        _kept[anatomy] = _build(anatomy)
    return _kept[anatomy]


def _bone_facts(anatomy):
    """Return (bones, 4): posterior wall, half height, half depth of each body, 1 for the sacrum. [mm]"""
    scale = anatomy.parameters.stature_scale
    shapes = [anatomy.bones[level].shape for level in anatomy.packed.levels]
    return np.array(
        [
            (
                scale * s.posterior_wall,
                0.25 * scale * (s.posterior_height + s.anterior_height),
                0.5 * scale * s.body_depth,
                float(s.level not in COLUMN[:-1]),
            )
            for s in shapes
        ]
    )


class _Placed:
    """A grid in the patient's frame, as `pack_bones` asks for it."""

    def __init__(self, grid):
        self.grid = grid
        extent = grid.pitch * (np.array(grid.values.shape[::-1]) - 1.0)
        self.sphere = grid.origin + 0.5 * extent, 0.5 * float(np.linalg.norm(extent))


def _others(anatomy):
    """Return packed values, table and tissues of iliac wings, implants, cement and hardened ligaments."""
    grids = {
        name: (mesh_grid(*mesh, pitch=PELVIS_PITCH), t.CORTEX)
        for name, mesh in pelvis_meshes(anatomy).items()
    }
    grids |= {name: (grid, t.METAL) for name, grid in implant_grids(anatomy).items()}
    for name, mesh in anatomy.implants.items():
        if name.startswith("cement"):
            grids[name] = mesh_grid(*mesh, pitch=0.8), t.CEMENT
    hard = {str(name): mesh for name, mesh in calcified_ligaments(anatomy).items()}
    hard |= {f"flavum {name}": anatomy.flava[name] for name in anatomy.canal.ossified}
    grids |= {name: (mesh_grid(*mesh), t.CORTEX) for name, mesh in hard.items()}
    still = Pose(np.eye(3), np.zeros(3))
    packed = pack_bones(
        {name: _Placed(grid) for name, (grid, _) in grids.items()}, dict.fromkeys(grids, still)
    )
    return packed.values, packed.table, np.array([tissue for _, tissue in grids.values()])


def _along(anatomy):
    """Return (n, 7) over the stations: cord (4), flavum left and right, half its cleft. [mm]"""
    canal = anatomy.canal
    flavum = np.zeros((len(canal.u), 2))
    for name, mark in canal.interspaces.items():
        inside = (canal.u >= mark.flavum_caudal) & (canal.u <= mark.flavum_cranial)
        for column, side in enumerate(("left", "right")):
            if canal.missing_flava.get(name) not in ("both", side):
                flavum[inside, column] = np.maximum(canal.flavum_thickness[inside], 0.5)
    gap = np.zeros(len(canal.u))
    for name in canal.flavum_gaps:
        mark = canal.interspaces[name]
        gap[(canal.u >= mark.flavum_caudal) & (canal.u <= mark.flavum_cranial)] = 0.5 * number(
            "flavum", "gap_width"
        )
    return np.column_stack(
        [
            canal.cord_half_width,
            canal.cord_half_depth,
            canal.cord_offset,
            np.full(len(canal.u), canal.cord_shift),
            flavum,
            gap,
        ]
    )


def degeneration(parameters, interspace):
    """Return how worn a disc is, 0 to 1, by the share of height that it has lost."""
    lost = [d.share for d in f.of_kind(parameters.findings, f.DiscHeightLoss) if d.interspace == interspace]
    return float(np.clip(1.6 * max(parameters.disc_loss, *lost, 0.0), 0.0, 1.0))


def _discs(anatomy):
    """Return (discs, 14) middle, frame, half height, wear; and rims (discs, 2, 64) above and below. [mm]"""
    scale, facts, rims = anatomy.parameters.stature_scale, [], []
    for name in INTERSPACES:
        upper, lower = split_interspace(name)
        marks = anatomy.landmarks.levels
        top, bottom = marks[upper].lower_endplate[0], marks[lower].upper_endplate[0]
        axis = unit(top - anatomy.poses[lower].translation + anatomy.poses[upper].translation - bottom)
        left = unit(anatomy.poses[upper].rotation[:, 0] + anatomy.poses[lower].rotation[:, 0])
        left = unit(left - (left @ axis) * axis)
        frame = np.array([left, np.cross(axis, left), axis])
        half = 0.5 * float((top - bottom) @ axis)
        facts.append([*(0.5 * (top + bottom)), *frame.ravel(), half, degeneration(anatomy.parameters, name)])
        above = plate_rim(anatomy.bones[upper], side=-1.0, scale=scale)
        below = plate_rim(anatomy.bones[lower], side=1.0, scale=scale)
        rims.append([above, np.minimum(below, 1.1 * above)])
    return np.array(facts), np.array(rims)


def _rows(anatomy, z):
    """Return (n, 6) over z: x of the processes, canal x and y, half width, side y, reach. [mm]"""
    tissue, canal, scale = anatomy.tissue, anatomy.canal, anatomy.parameters.stature_scale
    # Below the chart the canal runs on through the sacrum.
    sacral = anatomy.poses["S1"].apply(scale * SACRAL_LINE)
    sacral = sacral[sacral[:, 2] < canal.centre[SAC_ENTERS, 2] - 2.0]
    line = np.vstack([sacral, canal.centre[SAC_ENTERS:]])
    height = np.maximum.accumulate(line[:, 2])
    middle = tissue.midline(z)
    half = half_width(z, fat=tissue.fat, scale=scale)
    x, y = np.interp(z, height, line[:, 0]), np.interp(z, height, line[:, 1])
    share = np.clip((z - z[0]) / (height[-1] - z[0]), 0.0, 1.0)
    caudal, cranial = (scale * number("ligaments", f"muscle.{k}") for k in ("lateral", "lateral_thoracic"))
    return np.column_stack([middle, x, y, half, np.zeros_like(z), caudal + (cranial - caudal) * share])


def texture(rng=7):
    """Return a field (64, 64, 64) float32 that repeats: mean 0, deviation 1, coarse and fine together."""
    rough = np.random.default_rng(rng).standard_normal((TEXTURE,) * 3)
    both = sum(field / field.std() for field in (gaussian_filter(rough, s, mode="wrap") for s in (0.7, 2.2)))
    return (both / both.std()).astype(np.float32)


def _maps(anatomy, top):
    """Return maps (z, x, 2) of skin and fascia, where they begin, and the rows up to `top`. [mm]"""
    x, z = np.arange(-SIDE, SIDE + 1.0, MAP_STEP), np.arange(-BELOW, top, 1.0)
    heights = np.arange(-BELOW, top, MAP_STEP)
    maps = height_maps(anatomy.tissue.profile, anatomy.tissue.scale, x, heights)
    rows = _rows(anatomy, z)
    layer = np.minimum((z + BELOW) / MAP_STEP, len(heights) - 1).astype(int)
    edge = rows[:, 0] + rows[:, 3]
    rows[:, 4] = [np.interp(at, x, maps[row, :, 0]) for row, at in zip(layer, edge, strict=True)]
    return maps, np.array([x[0], heights[0], MAP_STEP]), rows


def _facts(anatomy):
    """Return what is one number each: see `slice_tissue_at`."""
    tissue = anatomy.tissue
    return np.array(
        [
            -BELOW,
            -number("soft_tissue", "trunk_front") - tissue.fat,
            tissue.skin_thickness,
            anatomy.poses["T11"].translation[2],
            anatomy.parameters.stature_scale,
            tissue.fat,
            *(number("xray", f"cortex.{part}") for part in ("wall", "endplate", "arch")),
        ]
    )


def _blocks(first, high):
    """Return how many blocks there are along x, y, z, and their middles (n, 3), x running fastest."""
    counts = np.ceil((high - first) / BLOCK).astype(int)
    centres = [first[k] + BLOCK * (np.arange(counts[k]) + 0.5) for k in range(3)]
    return counts, np.stack(np.meshgrid(*centres[::-1], indexing="ij")[::-1], axis=-1).reshape(-1, 3)


def _build(anatomy):
    canal, packed = anatomy.canal, anatomy.packed
    top = float(canal.centre[-1, 2]) + ABOVE
    maps, map_facts, rows = _maps(anatomy, top)
    first = np.array([-SIDE, -130.0 - anatomy.tissue.fat, -BELOW])
    counts, points = _blocks(first, np.array([SIDE, maps[:, :, 0].max() + 4.0, top]))
    shape = tuple(int(n) for n in counts[::-1])
    values, table, tissues = _others(anatomy)
    near, station = cKDTree(canal.centre).query(points)
    guess = np.where(near < NEAR_CANAL + BLOCK, canal.u[station] - canal.u[0] + 0.01, -1.0)
    facts, rims = _discs(anatomy)
    distance, disc = cKDTree(facts[:, :3]).query(points)
    disc = np.where(distance < NEAR_DISC * anatomy.parameters.stature_scale, disc, -1)
    chains = capsules(anatomy)
    start, listed = capsule_lists(chains, first, BLOCK, counts)
    return Fields(
        bone_values=packed.values,
        bone_table=packed.table,
        bone_facts=_bone_facts(anatomy),
        other_values=values,
        other_table=table,
        other_tissue=tissues,
        first=first,
        block_bones=bones_of_blocks(packed.values, packed.table, points, BLOCK).reshape(*shape, 4),
        block_others=bones_of_blocks(values, table, points, BLOCK).reshape(*shape, 4),
        block_guess=guess.astype(np.float32).reshape(shape),
        block_disc=disc.astype(np.int8).reshape(shape),
        capsule_start=start,
        capsule_list=listed,
        capsules=chains.astype(np.float32),
        frames=np.column_stack([canal.centre, canal.tangent, canal.left, canal.dorsal]),
        radii=np.ascontiguousarray(np.stack([canal.dura, canal.wall], axis=-1)),
        along=_along(anatomy),
        disc_facts=facts,
        disc_rims=rims,
        maps=maps,
        map_facts=map_facts,
        rows=rows,
        row_facts=_facts(anatomy),
        texture=texture(),
    )
