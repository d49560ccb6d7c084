"""Neighbouring bones that would run through each other in a posture give way to each other there.

Bones are shaped at rest and moved as they are. Where a strong posture would drive two of them together, both
are cut back to the surface half way between them, less a film: each loses at most half of the overlap, as two
worn facets would, and bones that keep clear of each other stay as they were, to the bit.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import numpy as np

from meshes import cache
from meshes.bones import STORED, THREADS, Bone, meshed, placed_grid
from meshes.compiled import kernel
from meshes.distance import distance_to_bone, pack_bones
from meshes.fields import largest_part
from meshes.frames import Pose
from meshes.levels import COLUMN

# Nearer than the first, bones are cut; the second is the film that then stays free. [mm]
TOO_NEAR, FILM = 0.3, 0.6
CUT_LEVELS = "cut"  # name of the stored array of the levels that gave way
# Grid points farther outside a bone than this never touch its contour. [pitch]
BESIDE = 2.0


@kernel
def least_distance(values, table, index, points, rotation, translation):
    """Return the least distance of points (n, 3), moved by the pose, to one packed bone. [mm]"""
    least = 1e9
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        px = rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z + translation[0]
        py = rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z + translation[1]
        pz = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z + translation[2]
        least = min(least, distance_to_bone(values, table, index, px, py, pz, False))
    return least


@kernel
def give_way(field, origin, pitch, values, table, film, beside):
    """Cut `field` back to half way to the packed bone `table[0]`, less half of `film`. [mm]

    The zero of (mine - theirs + film) / 2 keeps `film` from the same surface of the other bone: a distance
    changes by at most 1 per mm, so the difference of two by at most 2.
    """
    nz, ny, nx = field.shape
    for k in range(nz):
        z = origin[2] + k * pitch
        for j in range(ny):
            y = origin[1] + j * pitch
            for i in range(nx):
                mine = field[k, j, i]
                if mine > beside:
                    continue
                theirs = distance_to_bone(values, table, 0, origin[0] + i * pitch, y, z, False)
                field[k, j, i] = max(mine, 0.5 * (mine - theirs + film))


def joint_clearances(bones, poses):
    """Return {(upper, lower): least distance between two neighbouring bones}, negative where they overlap.

    Measured from the vertices of the lower bone in the grid of the upper one. [mm]
    """
    packed = pack_bones(bones, {level: Pose(np.eye(3), np.zeros(3)) for level in COLUMN}, COLUMN)
    found = {}
    for index, (upper, lower) in enumerate(pairwise(COLUMN)):
        pose = poses[upper].inverse() @ poses[lower]
        vertices = np.ascontiguousarray(bones[lower].vertices)
        found[upper, lower] = float(
            least_distance(packed.values, packed.table, index, vertices, pose.rotation, pose.translation)
        )
    return found


def _mirror_image(bone):
    values = bone.grid.values
    return np.array_equal(values, values[:, :, ::-1])


def _even(bone, other, pose):
    """Return whether the cut is a mirror image in the bone's midplane."""
    sideways = (*pose.rotation[0, 1:], pose.translation[0])
    return max(map(abs, sideways)) < 1e-12 and _mirror_image(bone) and _mirror_image(other)


def carved(bone, neighbours):
    """Return {name: array} of a bone that has given way to its neighbours, as `bones.meshed` makes them.

    Parameters
    ----------
    bone : Bone
    neighbours : list of (Bone, Pose)
        Each as it was before any cut, with the pose from its frame to this bone's.
    """
    grid, field, origin = bone.grid, bone.grid.values, bone.grid.origin
    if all(_even(bone, other, pose) for other, pose in neighbours):
        middle = field.shape[2] // 2
        field, origin = field[:, :, middle:], np.array([0.0, *origin[1:]])
    field = np.ascontiguousarray(field).copy()
    for other, pose in neighbours:
        theirs = pack_bones({other.level: other}, {other.level: pose})
        give_way(field, origin, grid.pitch, theirs.values, theirs.table, FILM, BESIDE * grid.pitch)
    return meshed(largest_part(field, cavities=True), origin, grid.pitch, reach=grid.reach)


def _cuts(bones, poses, too_near):
    """Return {level: [(neighbour, its pose in the frame of the level)]} of what must give way."""
    cuts = {}
    for upper, lower in too_near:
        for level, other in ((upper, lower), (lower, upper)):
            cuts.setdefault(level, []).append((bones[other], poses[level].inverse() @ poses[other]))
    return cuts


def _carved_bone(bone, arrays, out):
    vertices, pitch, reach = arrays["vertices"].astype(float), bone.grid.pitch, bone.grid.reach
    grid = placed_grid(arrays["values"], arrays["origin"], vertices, pitch=pitch, reach=reach, out=out)
    return Bone(bone.level, vertices, arrays["faces"], grid, bone.shape)


def _copied_bone(bone, out):
    out[:] = bone.grid.values
    return replace(bone, grid=replace(bone.grid, values=out))


def _carve_all(bones, cuts):
    """Return {'L1.values': array, ...} of the bones that give way, carved in two threads."""
    with ThreadPoolExecutor(THREADS) as pool:
        parts = pool.map(lambda level: carved(bones[level], cuts[level]), cuts)
        return {f"{level}.{name}": a for level, part in zip(cuts, parts) for name, a in part.items()}


def _in_one_buffer(bones, parts):
    """Return {level: Bone} whose grids are views of one array; `parts` {level: {name: array}} were carved."""
    # A cut leaves the grid its size.
    buffer, found, offset = np.empty(sum(b.grid.values.size for b in bones.values()), np.float32), {}, 0
    for level, bone in bones.items():
        out = buffer[offset : offset + bone.grid.values.size].reshape(bone.grid.values.shape)
        # Taken out, so that a bone is not held twice for long.
        placed = _carved_bone(bone, parts.pop(level), out) if level in parts else _copied_bone(bone, out)
        found[level] = replace(placed, grid=replace(placed.grid, buffer=buffer, offset=offset))
        offset += out.size
    return found


def _facts_of(poses):
    """Return what the cuts depend on besides the bones: where each stands in the frame of the one above."""
    pairs = (poses[upper].inverse() @ poses[lower] for upper, lower in pairwise(COLUMN))
    return tuple((*pose.rotation.ravel().round(9), *pose.translation.round(9)) for pose in pairs)


def _stored_well(arrays):
    if arrays is None or CUT_LEVELS not in arrays:
        return False
    return set(arrays) == {CUT_LEVELS, *(f"{n}.{name}" for n in arrays[CUT_LEVELS] for name in STORED)}


def settled(bones, poses, *, facts):
    """Return {level: Bone} in which no two neighbours overlap; `bones` itself where none did.

    Bones that keep apart keep every number.

    Parameters
    ----------
    bones, poses : {level: Bone}, {level: Pose}
        The whole column as it was built, and the posture.
    facts : tuple
        What the bones depend on, for the entry on disk: equal facts, equal bones.
    """
    path = cache.entry("joints", facts, bones[COLUMN[0]].grid.pitch, _facts_of(poses))
    arrays = cache.load(path)
    if not _stored_well(arrays):
        gaps = joint_clearances(bones, poses)
        cuts = _cuts(bones, poses, [pair for pair, gap in gaps.items() if gap < TOO_NEAR])
        arrays = _carve_all(bones, cuts) | {CUT_LEVELS: np.array(list(cuts), "U3")}
        cache.store(path, arrays)
    levels = [str(level) for level in arrays.pop(CUT_LEVELS)]
    if not levels:
        return bones
    parts = {level: {name: arrays.pop(f"{level}.{name}") for name in STORED} for level in levels}
    return _in_one_buffer(bones, parts)
