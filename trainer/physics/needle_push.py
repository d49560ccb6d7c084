"""Pushing a needle and pulling it back: the tip follows the balance of hand, tissue and bone."""

import math
from dataclasses import replace

import numpy as np

from meshes.tables.loader import number
from trainer.physics.needle_bone import contact_at
from trainer.physics.needle_course import drifted, slid
from trainer.physics.needle_drive import TIP, drive
from trainer.physics.needle_feel import SOFT, check_grip, hand_stiffness, rate_factor, resistance_word
from trainer.physics.needle_state import INTACT, NOWHERE, PUNCTURED, TENTED, read_only
from trainer.physics.needle_touch import root_touched, vessel_met
from trainer.physics.patient_reaction import react
from trainer.physics.tissue_layers import CORD, DURA, FASCIA, FLUID, SKIN, feel_figures

LARGEST_STEP = 200.0  # [mm] in one act
PIECE = 2.0  # [mm] of a longer push after which the track may turn
GIVE = 0.3  # [mm] the tip must jump beyond the hand for a give to be told


def push_needle(state, millimetres, *, grip=None, speed=1.0, until=None):
    """Return the state after the hand has moved by `millimetres` along the needle; negative pulls back.

    The tip follows as the tissue lets it: it lags while tissue is tough and jumps when that gives way, the
    farther the softer the hand. Bone stops it.

    Parameters
    ----------
    state : NeedleState
    millimetres : float
        Of the hand; 0.2, 1 and 2 are usual steps. [mm]
    grip : str or None
        "loose", "steady" or "braced"; as before where not given.
    speed : float
        Of the hand; faster is harder. [mm/s]
    until : float or None
        Stop as soon as the tip comes to this depth. [mm]

    Raises
    ------
    ValueError
        If the step is no step, or would bring the hub into the skin.
    """
    if not -LARGEST_STEP <= millimetres <= LARGEST_STEP:
        raise ValueError(
            f"millimetres must lie between {-LARGEST_STEP:g} and {LARGEST_STEP:g}, got {millimetres:g}: "
            "advance in steps"
        )
    if millimetres < 0.0:
        return withdraw(state, -millimetres)
    if state.depth + millimetres > state.needle.length:
        raise ValueError(
            f"millimetres must keep the hub out of the skin, got {millimetres:g} at a depth of "
            f"{state.depth:.1f} with a needle of {state.needle.length:g}: take a longer needle"
        )
    grip = check_grip(grip or state.grip)
    limit = state.needle.length if until is None else min(until, state.needle.length)
    first, left, parts = state, millimetres, []
    while left > 1e-9:
        state = _piece(state, min(left, PIECE), grip, speed, limit)
        parts.append(state)
        left -= PIECE
        if state.depth >= limit or state.force >= number("tissue", "hand.most"):
            break
    return state if len(parts) == 1 else joined(first, parts)


def _piece(state, millimetres, grip, speed, limit):
    memory = np.array([state.hand, state.depth, state.cut, state.slip])
    feel, grain = feel_figures(state.stab), state.scene.grain
    settings = _settings(state, grip, speed)
    report = drive(state.starts, state.codes, feel, grain, settings, memory, state.hand + millimetres, limit)
    return _after_push(state, memory, report, grip)


def joined(first, parts):
    """Return the last of the states of one long push, with what all of it felt like."""
    return replace(
        parts[-1],
        peak=max(part.peak for part in parts),
        plunge=max(part.plunge for part in parts),
        reactions=tuple(reaction for part in parts for reaction in part.reactions),
        trace=read_only(np.vstack([part.trace for part in parts])),
        counts=replace(parts[-1].counts, pushes=first.counts.pushes + 1),
    )


def _settings(state, grip, speed):
    across = number("tissue", "dura.across_fibres")
    # The fibres of the dura run along the canal; an opening that faces the head lies across them.
    share = abs(math.cos(state.bevel))
    return np.array(
        [
            hand_stiffness(grip),
            state.bone_at,
            number("tissue", "bone.stiffness"),
            number("tissue", "slip"),
            number("tissue", "hand.most"),
            number("tissue", "force_scale") * rate_factor(speed),
            1.0 + (across - 1.0) * share,
            number("tissue", "flavum.first_share"),
            number("tissue", "flavum.last_share"),
        ]
    )


def _after_push(state, memory, report, grip):
    hand, depth, cut, slip = (float(value) for value in memory)
    total, tip_force, pressed = (float(report[-1, k]) for k in (2, 3, 4))
    steps = np.diff(np.concatenate([[state.depth], report[:, 0]]))
    hands = np.diff(np.concatenate([[state.hand], report[:, 5]]))
    plunge = max(float((steps - hands).max()), 0.0)
    moved = replace(
        state, hand=hand, depth=depth, cut=cut, slip=slip, grip=grip, force=total, tip_force=tip_force,
        peak=float(report[:, 2].max()), plunge=plunge, bone=None, reactions=(),
        trace=read_only(np.ascontiguousarray(report[:, [0, 2, 3]])),
    )  # fmt: skip
    on_bone = depth >= state.bone_at - 1e-9
    if on_bone:
        moved = replace(moved, bone=contact_at(moved, pressed))
    word = resistance_word(float(report[:, 3].max()) if plunge < GIVE else tip_force, on_bone=on_bone)
    moved = _told(state, replace(moved, resistance=word))
    return slid(moved) if on_bone else drifted(state, moved)


def _entered(before, after, *codes):
    """Return whether the cut has passed into one of these tissues in this act."""
    for start, code in zip(after.starts, after.codes):
        if code in codes and before.cut <= start < after.cut:
            return True
    return False


def _told(before, after):
    """Return `after` with the counts, the dura, blood and what the patient shows."""
    counts, reactions = after.counts, []
    changes = {"pushes": counts.pushes + 1}

    def happened(cause, name=None, place=None):
        reactions.append(react(cause, after.patient, place=place))
        if name:
            changes[name] = getattr(counts, name) + 1

    if _entered(before, after, SKIN):
        happened("skin")
    if _entered(before, after, FASCIA):
        happened("fascia")
    if after.bone:
        hard = number("tissue", "bone.hard")
        first = before.bone is None
        changes["bone_contacts"] = counts.bone_contacts + int(first)
        if after.bone.force >= hard and (first or before.bone.force < hard):
            happened("bone_hard", "hard_bone_contacts")
        elif first:
            happened("bone")
    if after.plunge >= GIVE:
        changes["gives"] = counts.gives + 1
    dura = _dura(after)
    if (dura == PUNCTURED and before.dura != PUNCTURED) or _entered(before, after, FLUID):
        happened("dura", "dural_punctures")
    root = root_touched(after, before.depth)
    if root and root_touched(before, before.depth) is None:
        happened("root", "root_contacts", root)
    if touches_cord(after) and not touches_cord(before):
        happened("cord", "cord_contacts")
    met = vessel_met(after, before.cut)
    changes["vessel_contacts"] = counts.vessel_contacts + int(met)
    return replace(
        after, counts=replace(counts, **changes), reactions=tuple(reactions), dura=dura,
        blood=before.blood or met,
    )  # fmt: skip


def _dura(state):
    if state.dura == PUNCTURED or state.code_at(state.cut) in (FLUID, CORD):
        return PUNCTURED
    dura = state.start_of(DURA)
    return TENTED if dura is not None and state.depth > dura + 0.05 else INTACT


def touches_cord(state):
    """Return whether the tip is in the cord, or presses tented dura deeper into it than a table allows."""
    if state.code_at(state.cut) == CORD:
        return True
    cord = state.start_of(CORD)
    allowed = number("reaction", "cord.pressed") if state.dura != PUNCTURED else 0.0
    return cord is not None and state.depth > cord + allowed


def withdraw(state, millimetres):
    """Return the state after the tip has been pulled back by `millimetres`, but not out of the skin.

    The hand lets go of what it still pressed, then pulls until the tip has come back that far.

    Raises
    ------
    ValueError
        If the distance is not positive.
    """
    if not 0.0 < millimetres <= 300.0:
        raise ValueError(f"millimetres must lie between 0 and 300, got {millimetres:g}: pull back by some")
    goal = max(state.depth - millimetres, 0.0)
    memory = np.array([state.depth, state.depth, state.cut, state.slip])
    settings = _settings(replace(state, bone_at=NOWHERE), state.grip, 1.0)
    figures = feel_figures(state.stab), state.scene.grain, settings
    report = drive(state.starts, state.codes, *figures, memory, goal - 30.0, goal)
    depth = max(float(memory[TIP]), 0.0)
    back = replace(
        state, hand=depth, depth=depth, slip=0.0, force=float(report[-1, 2]), tip_force=0.0,
        peak=float(np.abs(report[:, 2]).max()), resistance=SOFT, plunge=0.0, bone=None, reactions=(),
        trace=read_only(np.ascontiguousarray(report[:, [0, 2, 3]])),
        counts=replace(state.counts, withdrawals=state.counts.withdrawals + 1),
    )  # fmt: skip
    return replace(back, dura=_dura(back))


def release(state):
    """Return the state after the hand has let go: what it pressed is gone, the tissue holds the needle."""
    return replace(state, hand=state.depth, slip=0.0, force=0.0, tip_force=0.0, plunge=0.0, reactions=())
