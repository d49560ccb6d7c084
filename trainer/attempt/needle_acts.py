"""What the events of the needle and of the patient under it do.

The physics of a needle in tissue is that of trainer.physics.needle_push and its neighbours.
"""

from dataclasses import fields, replace
from functools import lru_cache

from trainer.attempt import events as e
from trainer.attempt.needle_events import MEDIA, SEDATIONS
from trainer.attempt.plan_acts import needle_on_the_table
from trainer.attempt.refusals import inside, one_of
from trainer.attempt.state import Complication
from trainer.physics import needle_state, patient_reaction
from trainer.physics.loss_of_resistance import LOST, advance_under_pressure, feel_for_loss
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_consequences import CHOICES, complications
from trainer.physics.needle_push import LARGEST_STEP, push_needle, withdraw
from trainer.physics.needle_scene import needle_scene
from trainer.physics.needle_turn import held_at, reangle, stylet, turn_bevel
from trainer.physics.syringe import Syringe

LONGEST_TURN = 6.3  # [rad]
SHORTEST_PUSH = 0.01  # [mm]
LARGEST_SYRINGE = 20.0  # [ml]
LONGEST_PRESS = 5.0  # [s]
PLACES = ("skin", "deep")
REFILL = 0.2  # of a full syringe; an emptier one is filled again


@lru_cache(maxsize=8)
def scene_of(anatomy, seed):
    """Return the NeedleScene of an attempt's patient, drawn by its seed."""
    return needle_scene(anatomy, rng=seed)


def _aim_needle(state, event):
    if state.needle_depth is not None:
        raise ValueError(
            "needle_depth must be none while a needle is aimed at the skin, got one in the patient: "
            "take it out, or turn it with ReangleNeedle"
        )
    needle_on_the_table(state, event.needle_length)
    check_entry(state.anatomy, event.entry_x, event.entry_z)
    needle = Needle(length=event.needle_length)
    aim = NeedleAim(
        event.interspace, event.entry_x, event.entry_z, event.approach, event.medial, side=event.side
    )
    check = check_needle(state.anatomy, aim, needle)
    return state.with_placement(aim=aim, needle=needle, check=check)


def check_entry(anatomy, x, z):
    """Raise ValueError unless a skin entry at x, z [mm] lies on the modelled back."""
    vertices, _ = anatomy.tissue.trunk_mesh()
    for name, value, axis in (("entry_x", x, 0), ("entry_z", z, 2)):
        low, high = vertices[:, axis].min(), vertices[:, axis].max()
        if not low < value < high:
            raise ValueError(
                f"{name} must lie on the modelled back, between {low:.0f} and {high:.0f} mm, got {value:g}: "
                "x counts to the left of the midline, z upwards from the sacrum"
            )


def _place_needle(state, _):
    placement = state.placement
    if placement.aim is None:
        raise ValueError("aim must be given before the needle is placed, got none: aim the needle first")
    if placement.inside is not None:
        raise ValueError("needle_depth must be none before a needle is placed, got one: take it out first")
    patient = patient_reaction.Patient(state.patient.local, state.patient.sedation)
    placed = needle_state.place_needle(
        scene_of(state.anatomy, state.seed), placement.aim, needle=placement.needle, patient=patient
    )
    return state.with_placement(inside=placed, syringe=None, felt="", passes=placement.passes + 1)


def _in_patient(state):
    if state.placement.inside is None:
        raise ValueError("needle_depth must be a number, got none: place the needle first")
    return state.placement.inside


def _push_needle(state, event):
    needle = _in_patient(state)
    inside("millimetres", event.millimetres, SHORTEST_PUSH, LARGEST_STEP)
    return _after(state, push_needle(needle, event.millimetres, grip=event.grip))


def _withdraw_needle(state, event):
    needle = _in_patient(state)
    if not 0.0 < event.millimetres <= needle.depth:
        raise ValueError(
            f"millimetres must leave the needle in the skin, got {event.millimetres:g} at a depth of "
            f"{needle.depth:.1f}: remove the needle instead"
        )
    return _after(state, withdraw(needle, event.millimetres))


def _after(state, moved, **changes):
    """Return the state after an act of the needle in hand: counts, complications, the patient's words."""
    placement, before = state.placement, state.placement.inside
    counts = replace(
        placement.counts,
        **{
            entry.name: getattr(placement.counts, entry.name)
            + getattr(moved.counts, entry.name)
            - getattr(before.counts, entry.name)
            for entry in fields(moved.counts)
        },
    )
    number, which = state.event_count + 1, {"needle": state.active, "needle_pass": placement.passes}
    found = [
        Complication(one.kind, number, one.seen, one.ends_attempt, **which)
        for one in complications(before, moved)
    ]
    words = " ".join(moved.words) or state.patient.words
    return replace(
        state.with_placement(inside=moved, counts=counts, **changes),
        complications=_with(state.complications, found),
        patient=replace(state.patient, words=words),
    )


def _with(known, found):
    """Return known and found complications.

    What happens again in the same pass while it still waits for a choice is the same complication, and may
    come to be seen; once answered, or in another pass, it is a new one to be answered.
    """
    for one in found:
        k = next((k for k, old in enumerate(known) if not old.choice and _same(old, one)), None)
        if k is None:
            known = (*known, one)
        elif one.seen:
            known = (*known[:k], replace(known[k], seen=True), *known[k + 1 :])
    return known


def _same(one, other):
    return (one.kind, one.needle, one.needle_pass) == (other.kind, other.needle, other.needle_pass)


def _reangle_needle(state, event):
    needle = _in_patient(state)
    approach, medial = held_at(needle)
    moved, _ = reangle(needle, event.approach - approach, medial_change=event.medial - medial)
    aim = state.placement.aim.with_changes(approach=event.approach, medial=event.medial)
    check = check_needle(state.anatomy, aim, state.placement.needle)
    return _after(state, moved, aim=aim, check=check)


def _turn_bevel(state, event):
    needle = _in_patient(state)
    inside("angle", event.angle, -LONGEST_TURN, LONGEST_TURN, "rad")
    return _after(state, turn_bevel(needle, event.angle))


def _move_stylet(state, event):
    return _after(state, stylet(_in_patient(state), inside=event.inside))


def _press_syringe(state, event):
    needle, placement = _in_patient(state), state.placement
    inside("seconds", event.seconds, 0.01, LONGEST_PRESS, "s")
    syringe = _filled(placement.syringe, event.medium)
    pressed, felt = feel_for_loss(needle, syringe, force=event.force, seconds=event.seconds)
    return state.with_placement(**_told_by(pressed, felt, placement))


def _push_under_pressure(state, event):
    needle, placement = _in_patient(state), state.placement
    inside("millimetres", event.millimetres, SHORTEST_PUSH, LARGEST_STEP)
    syringe = _filled(placement.syringe, event.medium)
    how = {"force": event.force, "grip": event.grip}
    moved, pressed, felt = advance_under_pressure(needle, syringe, event.millimetres, **how)
    return _after(state, moved, **_told_by(pressed, felt, placement))


def _filled(syringe, medium):
    """Return the syringe in hand, or a full one where it holds another medium or hardly anything."""
    one_of("medium", medium, MEDIA)
    if syringe is None or syringe.medium != medium or syringe.volume < REFILL * full(medium):
        return Syringe(medium, delivered=0.0 if syringe is None else syringe.delivered)
    return syringe


def _told_by(pressed, felt, placement):
    """Return what a press changes of the placement."""
    lost = felt.feel == LOST and pressed.medium == "saline"
    saline = placement.saline + (1e-3 * felt.volume if lost else 0.0)
    return {"syringe": pressed, "felt": felt.feel, "saline": saline}


def full(medium):
    """Return what a full syringe holds. [mm³]"""
    return Syringe(medium).volume


def _remove_needle(state, _):
    _in_patient(state)
    if state.placement.lead is not None:
        raise ValueError("lead must be out before the needle is removed, got one inside: remove it first")
    return state.with_placement(inside=None, syringe=None, felt="")


def _give_local_anaesthetic(state, event):
    inside("millilitres", event.millilitres, 0.0, LARGEST_SYRINGE, "ml")
    one_of("where", event.where, PLACES)
    local = "deep" if "deep" in (event.where, state.patient.local) else "skin"
    given = state.patient.local_anaesthetic + event.millilitres
    return _with_patient(state, local_anaesthetic=given, local=local)


def _set_sedation(state, event):
    one_of("sedation", event.sedation, SEDATIONS)
    return _with_patient(state, sedation=event.sedation)


def _with_patient(state, **changes):
    """Return the state with the patient changed, and so for every needle that is inside."""
    patient = replace(state.patient, **changes)
    felt = patient_reaction.Patient(patient.local, patient.sedation)
    placements = tuple(
        one if one.inside is None else replace(one, inside=one.inside.with_changes(patient=felt))
        for one in state.placements
    )
    return replace(state, patient=patient, placements=placements)


def _ask_patient(state, _):
    return replace(state, patient=replace(state.patient, words=_words(state)))


def _words(state):
    if state.patient.sedation == "deep":
        return "does not answer"
    said = " ".join(state.placement.inside.words) if state.placement.inside is not None else ""
    return said or ("feels pressure" if state.needle_depth is not None else "feels nothing new")


def _choose(state, event):
    left_open = [k for k, found in enumerate(state.complications) if not found.choice]
    if not left_open:
        raise ValueError("complications must hold one that is open, got none: go on with the work")
    # Nobody can answer what does not show while something else does.
    last = next((k for k in reversed(left_open) if state.complications[k].seen), left_open[-1])
    one_of("choice", event.choice, [choice.key for choice in CHOICES[state.complications[last].kind]])
    answered = tuple(
        replace(found, choice=event.choice) if k == last else found
        for k, found in enumerate(state.complications)
    )
    return replace(state, complications=answered)


ACTS = {
    e.AimNeedle: _aim_needle,
    e.PlaceNeedle: _place_needle,
    e.PushNeedle: _push_needle,
    e.WithdrawNeedle: _withdraw_needle,
    e.ReangleNeedle: _reangle_needle,
    e.TurnBevel: _turn_bevel,
    e.MoveNeedleStylet: _move_stylet,
    e.PressSyringe: _press_syringe,
    e.PushUnderPressure: _push_under_pressure,
    e.RemoveNeedle: _remove_needle,
    e.GiveLocalAnaesthetic: _give_local_anaesthetic,
    e.SetSedation: _set_sedation,
    e.AskPatient: _ask_patient,
    e.ChooseAfterComplication: _choose,
}
