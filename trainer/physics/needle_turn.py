"""Turning a needle: re-angling within what the tissue allows, turning the bevel, stylet in and out."""

import math
from dataclasses import dataclass, replace

import numpy as np

from meshes.frames import unit
from meshes.units import degrees, radians
from trainer.physics.needle import STEEPEST, WIDEST
from trainer.physics.needle_axis import least_clearance
from trainer.physics.needle_state import look_along, read_only
from trainer.physics.needle_track import (
    distance_to_line,
    hub_force,
    largest_turn,
    place_on,
    resting_point,
    shortened,
    turned_toward,
)

ON_BONE = radians(1.0)  # more than this against bone only bends the shaft
FLATTEST = radians(5.0)
SAME_WAY = 0.05  # [mm] a tip that moves less has not been redirected


@dataclass(frozen=True)
class Turn:
    """How a needle was re-angled.

    Parameters
    ----------
    wanted, reached, limit : float
        Angle that was asked for, that the shaft has been turned by, and that the tissue allows. [rad]
    pivot : float
        Depth of the point that stayed where it was. [mm]
    tip_moved : float
        How far the tip went aside, against the hub. [mm]
    force : float
        At the hub. [N]
    held_by : str or None
        "tissue", "bone" or None.
    """

    wanted: float
    reached: float
    limit: float
    pivot: float
    tip_moved: float
    force: float
    held_by: str | None

    @property
    def advice(self):
        """What to do where the needle did not follow, or None."""
        if self.held_by == "bone":
            return "the tip stands on bone and the shaft only bends: pull back 5 mm, then turn"
        if self.held_by == "tissue":
            return "the tissue holds the shaft: pull back toward the skin, then turn"
        return None


def held_at(state):
    """Return (approach, medial) at which the shaft stands, told at its skin entry as for an aim. [rad]"""
    _, normal, cranial, left = state.scene.anatomy.tissue.skin_frame(state.aim.entry_x, state.aim.entry_z)
    direction = state.base_direction
    up, inward = float(direction @ cranial), -state.aim.sign * float(direction @ left)
    return math.asin(min(1.0, max(-1.0, float(-direction @ normal)))), math.atan2(inward, up)


def direction_held(state, approach, medial):
    """Return the unit direction (3,) of a needle held at these angles to the skin at its entry."""
    _, normal, cranial, left = state.scene.anatomy.tissue.skin_frame(state.aim.entry_x, state.aim.entry_z)
    across = math.cos(medial) * cranial - state.aim.sign * math.sin(medial) * left
    return unit(math.cos(approach) * across - math.sin(approach) * normal)


def reangle(state, approach_change, *, medial_change=0.0):
    """Return (state, Turn): the hub moved so that the needle stands at other angles.

    The shaft turns about the point that the tissue holds, near the skin while the tip is in the fat, half
    way down when it is deep: the tip then goes the other way, and only a little. Beyond what the tissue
    gives, and beyond one degree while the tip stands on bone, the shaft does not follow. The hand keeps the
    needle at its new angle: that tissue would push it back is not modelled.

    Parameters
    ----------
    state : NeedleState
    approach_change, medial_change : float
        Added to the present angles; a positive approach change is steeper. [rad]

    Raises
    ------
    ValueError
        If the new angles are not ones that a needle can be held at.
    """
    approach, medial = held_at(state)
    return reangle_to(state, approach + approach_change, medial=medial + medial_change)


def reangle_to(state, approach, *, medial):
    """Return (state, Turn) of a needle that is to stand at these angles to the skin at its entry. [rad]

    As `reangle`; raises ValueError where a needle cannot be held like that.
    """
    if not FLATTEST <= approach <= STEEPEST or not -WIDEST <= medial <= WIDEST:
        raise ValueError(
            "approach and medial must leave the needle between 5 and 90 degrees to the skin "
            f"and 60 to the side, got {degrees(approach):.0f} and {degrees(medial):.0f}: turn less"
        )
    here, wanted = state.base_direction, direction_held(state, approach, medial)
    asked = math.acos(min(1.0, float(here @ wanted)))
    pivot = resting_point(state.starts, state.codes, depth=state.depth, outside=state.outside)
    limit = largest_turn(state.starts, state.codes, depth=state.depth, pivot=pivot)
    if state.bone is not None:
        limit = min(limit, ON_BONE)
    reached, track = _free_turn(state, wanted, min(asked, limit), pivot)
    held = None
    if reached < asked - 1e-9:
        held = "bone" if state.bone or reached < min(asked, limit) - 1e-9 else "tissue"
    tip_moved = float(np.linalg.norm(place_on(track, state.depth)[0] - state.tip))
    force = hub_force(state.starts, state.codes, depth=state.depth, pivot=pivot, angle=reached)
    turn = Turn(asked, reached, limit, pivot, tip_moved, force, held)
    return (_on_new_track(state, track), turn) if reached > 1e-9 else (state, turn)


def _free_turn(state, wanted, angle, pivot):
    """Return the largest angle up to `angle` at which the shaft is free of bone, and the track there."""
    best, track = 0.0, state.track
    low, high = 0.0, angle
    for trial in range(12):
        share = angle if trial == 0 else 0.5 * (low + high)
        straight = _straight(state, wanted, share, pivot)
        if _clear(state, straight):
            best, track, low = share, straight, share
            if trial == 0:
                break
        else:
            high = share
    return best, track


def _straight(state, wanted, angle, pivot):
    here = state.base_direction
    direction = turned_toward(here, wanted, angle)
    still = state.puncture + pivot * here
    entry = still - pivot * direction
    return read_only(np.vstack([entry, entry + max(state.depth, 1.0) * direction]))


def _clear(state, track):
    if state.depth < 1e-6:
        return True
    point, direction = track[0], place_on(track, 0.0)[1]
    axis = tuple(float(value) for value in (*point, *direction))
    room, _, _ = least_clearance(state.scene.bones, axis, state.depth, state.needle.outer_radius)
    return room >= 0.0


def _on_new_track(state, track):
    """Return the state on another straight track: what lies ahead is uncut, unless the way is the same."""
    origin, direction = track[0], place_on(track, 0.0)[1]
    moved = distance_to_line(state.tip, origin, direction)
    end = place_on(state.track, state.cut)[0]
    same = distance_to_line(end, origin, direction) < state.needle.outer_radius
    starts, codes, _ = look_along(state.scene, state.needle, track, depth=0.0)
    from_tip = look_along(state.scene, state.needle, track, depth=state.depth, before=(starts, codes))
    redirected = moved > SAME_WAY or not same
    left = () if same else (read_only(shortened(state.track, max(state.cut, 1e-3))),)
    return replace(
        state, track=track, starts=from_tip[0], codes=from_tip[1], bone_at=from_tip[2],
        old_tracks=state.old_tracks + left, hand=state.depth, cut=state.cut if same else state.depth,
        slip=0.0, force=0.0, tip_force=0.0, plunge=0.0, bone=None, reactions=(),
        counts=replace(state.counts, redirections=state.counts.redirections + int(redirected)),
    )  # fmt: skip


def turn_bevel(state, angle):
    """Return the state with the opening turned about the shaft by an angle, clockwise from the hub. [rad]

    A needle drifts away from its opening as it is pushed; turned by half a turn it drifts back.
    """
    return replace(state, bevel=(state.bevel + angle) % (2.0 * math.pi), reactions=(), plunge=0.0)


def stylet(state, *, inside):
    """Return the state with the stylet in or out; out, fluid and blood can come back through the bore."""
    return replace(state, needle=state.needle.with_stylet(inside), reactions=(), plunge=0.0)
