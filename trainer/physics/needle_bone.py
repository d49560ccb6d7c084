"""Bone under the tip: which bone and where on it, how the needle leans on it, how far the shaft bends."""

import math

import numpy as np

from meshes.distance import distance_to_bone
from meshes.frames import unit
from meshes.tables.loader import number
from trainer.physics.needle_part import bone_part
from trainer.physics.needle_state import BoneContact
from trainer.physics.needle_track import place_on, tip_deflection
from trainer.physics.tissue_layers import HARD

BESIDE = 0.3  # [mm] beyond its radius within which the shaft is taken to stand on bone
SPAN = 0.2  # [mm] over which the slope of the distance is taken


def contact_at(state, pressed):
    """Return the BoneContact of a tip that stands where bone stops it, pressed by a force [N].

    What of that force drives the tip along the surface bends the shaft aside in the muscle around it.
    """
    point, direction = place_on(state.track, state.bone_at)
    level, words, normal = bone_under(state, point)
    lean = math.acos(min(1.0, max(0.0, float(-direction @ normal))))
    aside = pressed * math.sin(lean) * math.cos(lean)
    bend = tip_deflection(
        aside,
        rigidity=number("tissue", "shaft.rigidity"),
        stiffness=number("tissue", "muscle.lateral_stiffness"),
    )
    return BoneContact(level, words, state.bone_at, pressed, lean, bend)


def bone_under(state, point):
    """Return level, words and outward normal (3,) of the bone or implant that a tip at a point touches."""
    anatomy, obstacles = state.scene.anatomy, state.scene.obstacles
    rooms = [_room(state, k, point) for k in range(len(obstacles.levels))]
    nearest = int(np.argmin(rooms))
    if rooms[nearest] > state.needle.outer_radius + BESIDE:
        return _ossified(state)
    normal = _outward(state, nearest, point)
    level, words = obstacles.level_of(nearest), obstacles.obstacle(nearest)
    if words or level not in getattr(anatomy, "bones", {}):
        return level, words or f"the bone of {level}", normal
    surface = point - rooms[nearest] * normal
    inside = anatomy.poses[level].inverse().apply(surface) / anatomy.parameters.stature_scale
    return level, bone_part(anatomy.bones[level].shape, inside), normal


def _room(state, index, point):
    x, y, z = (float(value) for value in point)
    return distance_to_bone(*state.scene.bones, index, x, y, z, True)


def _outward(state, index, point):
    slope = np.array(
        [
            _room(state, index, point + SPAN * axis) - _room(state, index, point - SPAN * axis)
            for axis in np.eye(3)
        ]
    )
    return unit(slope) if np.linalg.norm(slope) > 1e-9 else -state.direction


def _ossified(state):
    """Return what `bone_under` does for a flavum that the chart, not the obstacles, says is bone."""
    station = float(state.scene.anatomy.canal.to_chart(place_on(state.track, state.bone_at)[0])[0])
    name = state.scene.anatomy.canal.interspace_of(station)
    if name is None or state.code_at(state.bone_at) != HARD:
        return "bone", "bone", -state.direction
    return name.split("-")[0], f"the ossified ligamentum flavum at {name}", -state.direction
