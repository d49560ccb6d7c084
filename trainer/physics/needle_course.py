"""How the way of a tip turns by itself: drift away from the bevel, sliding along bone, springing back."""

import math
from dataclasses import replace

import numpy as np

from meshes.frames import unit
from meshes.tables.loader import number
from trainer.physics.needle_bone import bone_under
from trainer.physics.needle_state import look_along, read_only
from trainer.physics.needle_track import distance_to_line, lengths_along, place_on, shortened
from trainer.physics.tissue_layers import FLAVUM, INTERSPINOUS, MUSCLE

LEG = 2.0  # [mm] of new cut after which the drift of the bevel turns the track
FREED = 0.3  # [mm] beyond which a way along bone must be free
OUTWARD = (0.02, 0.06, 0.12, 0.25)  # [rad] away from the surface along which a tip slides, tried in turn
DRIFTS = (MUSCLE, INTERSPINOUS, FLAVUM)


def redirected(state, direction, *, skip=0.0):
    """Return the state whose track goes on from the tip in a direction (3,), blind to bone within `skip`."""
    kept = shortened(state.track, state.depth)
    track = read_only(np.vstack([kept, kept[-1] + unit(direction)]))
    before = state.starts, state.codes
    starts, codes, bone_at = look_along(
        state.scene, state.needle, track, depth=state.depth, before=before, skip=skip
    )
    return replace(state, track=track, starts=starts, codes=codes, bone_at=bone_at)


def opening_face(state):
    """Return the unit direction (3,) across the needle toward which its opening looks."""
    direction = state.direction
    _, _, cranial, _ = state.scene.anatomy.tissue.skin_frame(state.aim.entry_x, state.aim.entry_z)
    up = unit(cranial - (cranial @ direction) * direction)
    # Seen from the hub along the needle, clockwise.
    (a, b, c), (x, y, z) = direction, up
    right = np.array([b * z - c * y, c * x - a * z, a * y - b * x])
    return math.cos(state.bevel) * up + math.sin(state.bevel) * right


def drifted(before, state):
    """Return the state with the track turned by the drift of the bevel, once enough has been cut.

    A track of even curvature, away from the opening, in legs of 2 mm. A tip that slid along bone turns back
    toward its shaft first.
    """
    turned_at = lengths_along(state.track)[-2]
    if state.cut < before.cut + 1e-9 or state.depth < turned_at + LEG:
        return state
    if state.code_at(state.depth) not in DRIFTS or state.cut > state.depth:
        return state
    if state.sliding:
        return _sprung(state)
    angle = number("tissue", "bevel.curvature") * (state.depth - turned_at)
    return redirected(state, math.cos(angle) * state.direction - math.sin(angle) * opening_face(state))


def slid(state):
    """Return the state after the tip has begun to slide along bone that it meets at a grazing angle.

    The track goes on along the surface; a needle that leans less, or that has been bent aside as far as the
    table allows, stands still.
    """
    if state.bone.lean < number("tissue", "bone.slide_angle") or state.bone.force <= 0.0:
        return state
    *_, normal = bone_under(state, place_on(state.track, state.bone_at)[0])
    flat = unit(state.direction - (state.direction @ normal) * normal)
    for outward in OUTWARD:
        along = unit(flat + outward * normal)
        aside = distance_to_line(state.tip + along, state.track[0], _first_leg(state))
        if along @ normal < state.direction @ normal or aside > number("tissue", "bone.slide_most"):
            continue
        turned = redirected(state, along, skip=FREED)
        if turned.bone_at > state.depth + 2.0 * FREED:
            counts = replace(state.counts, slides=state.counts.slides + 1)
            return replace(turned, counts=counts, sliding=True)
    return state


def _first_leg(state):
    return unit(state.track[1] - state.track[0])


def _sprung(state):
    """Return the state whose tip, past the bone along which it slid, turns back as its shaft straightens."""
    straight = redirected(state, _first_leg(state))
    return replace(straight, sliding=False) if straight.bone_at > state.depth + LEG else state
