"""Everything that stops a needle, in one packed set: bones, screws, rods, spacers, hardened ligaments.

The same kernels answer for all of them (`distance.nearest_bone`, `distance.clearances`): rows 0 to 12 are
the bones, every further row is one obstacle whose grid lies in the patient's frame.
"""

import numpy as np

from meshes.distance import CENTRE, OFFSET, RADIUS, DistanceGrid, PackedBones
from meshes.distance_build import signed_grid
from meshes.implants import REACH, implant_grids
from meshes.inside import inside_mesh
from meshes.levels import split_interspace
from meshes.ligaments import calcified_ligaments

# Hardened ligaments are thin plates: a finer grid than the bones'. [mm]
FINE_PITCH = 0.5


def mesh_grid(vertices, faces, *, pitch=FINE_PITCH, reach=REACH):
    """Return the DistanceGrid of a closed mesh, whole, in the frame of its vertices. [mm]

    Exact at the grid points up to `reach`; between them as good as the pitch is fine beside the thickness.
    """
    low, high = vertices.min(axis=0) - reach, vertices.max(axis=0) + reach
    shape = tuple((np.ceil((high - low) / pitch).astype(int) + 1)[::-1])
    inside = inside_mesh(vertices, faces, origin=low, pitch=pitch, shape=shape)
    field = np.where(inside, np.float32(-1.0), np.float32(1.0))
    values = signed_grid(vertices, faces, field, origin=low, pitch=pitch, reach=reach)
    return DistanceGrid(values, low, pitch, reach, reach)


def _implant_words(name):
    """Return the words for, and the level beside, an implant such as 'screw L4 left' or 'rod L3-S1 left'."""
    kind, place, *side = name.split()
    if kind == "screw":
        return f"the {side[0]} {place} pedicle screw", place
    if kind == "rod":
        return f"the {side[0]} rod at {place}", place.split("-")[0]
    return f"the interspinous {kind} at {place}", place.split("-")[0]


def obstacle_grids(anatomy, *, pitch=FINE_PITCH):
    """Return {words: (level, DistanceGrid)} of what stops a needle besides bones, in the patient's frame.

    Words such as "the left L4 pedicle screw", "the ossified ligamentum flavum at T11-T12", "the calcified
    interspinous ligament at L2-L3"; the level is the vertebra that holds it, the upper one of two. An
    ossified flavum is as wide as the flavum is drawn, 62 degrees to either side. Cement lies within bone
    and is left out: its bone is met first.
    """
    found = {}
    for name, grid in implant_grids(anatomy).items():
        words, level = _implant_words(name)
        found[words] = level, grid
    flava = anatomy.flava if anatomy.canal.ossified else {}
    hard = {f"the ossified ligamentum flavum at {n}": (n, flava[n]) for n in anatomy.canal.ossified}
    for (name, which), mesh in calcified_ligaments(anatomy).items():
        hard[f"the calcified {which} ligament at {name}"] = name, mesh
    for words, (name, mesh) in hard.items():
        found[words] = split_interspace(name)[0], mesh_grid(*mesh, pitch=pitch)
    return found


def _row(grid, offset):
    """Return the table's row of an obstacle; its sphere holds what lies inside the reach of the grid."""
    row = grid.row()
    row[OFFSET] = offset
    # The box without its border of one reach: a tighter sphere asks the grid less often.
    half = 0.5 * grid.pitch * (np.array(grid.values.shape[::-1]) - 1.0)
    row[CENTRE:RADIUS] = grid.origin + half
    row[RADIUS] = np.linalg.norm(half - grid.margin)
    return row


def pack_obstacles(packed, grids):
    """Return PackedBones of bones and obstacles; `packed` itself, to the very object, where there are none.

    Parameters
    ----------
    packed : PackedBones
        The bones, posed.
    grids : dict
        What `obstacle_grids` returns.
    """
    if not grids:
        return packed
    rows, offset = [], packed.values.size
    for _, grid in grids.values():
        rows.append(_row(grid, offset))
        offset += grid.values.size
    return PackedBones(
        np.concatenate([packed.values, *(grid.values.ravel() for _, grid in grids.values())]),
        np.vstack([packed.table, rows]),
        (*packed.levels, *grids),
        {words: level for words, (level, _) in grids.items()},
    )
