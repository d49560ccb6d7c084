"""What the events of the needle and of the patient under it do.

The needle is straight and rigid here; bone stops it, and it goes where its axis points.
"""

from dataclasses import replace

from trainer.attempt import events as e
from trainer.attempt.needle_events import CHOICES, MEDIA, SEDATIONS
from trainer.attempt.plan_acts import needle_on_the_table
from trainer.attempt.refusals import inside, one_of
from trainer.attempt.state import Complication
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_check import check_needle

LONGEST_PUSH = 200.0  # [mm]
LONGEST_TURN = 6.3  # [rad]
LARGEST_SYRINGE = 20.0  # [ml]


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
    if placement.depth is not None:
        raise ValueError("needle_depth must be none before a needle is placed, got one: take it out first")
    return state.with_placement(
        depth=0.0, touched_bone=None, stylet_inside=True, bevel=0.0, passes=placement.passes + 1
    )


def _in_patient(state):
    if state.needle_depth is None:
        raise ValueError("needle_depth must be a number, got none: place the needle first")
    return state.placement


def _push_needle(state, event):
    """Move the tip; bone stops it, behind the canal or in front of it."""
    placement = _in_patient(state)
    inside("millimetres", event.millimetres, 0.0, LONGEST_PUSH)
    wanted = placement.depth + event.millimetres
    if wanted > placement.needle.length:
        raise ValueError(
            f"millimetres must keep the hub out of the skin, got {event.millimetres:g} at a depth of "
            f"{placement.depth:g} with a needle of {placement.needle.length:g}: take a longer needle"
        )
    return moved_to(state, wanted)


def _withdraw_needle(state, event):
    placement = _in_patient(state)
    inside("millimetres", event.millimetres, 0.0, LONGEST_PUSH)
    wanted = placement.depth - event.millimetres
    if wanted < 0.0:
        raise ValueError(
            f"millimetres must leave the needle in the skin, got {event.millimetres:g} at a depth of "
            f"{placement.depth:g}: remove the needle instead"
        )
    return moved_to(state, wanted)


def moved_to(state, wanted):
    """Return the state with the tip at a depth [mm], or at the bone before it."""
    placement, check = state.placement, state.check
    depth, touched = wanted, None
    met = check.bone_in_front
    if check.first_bone is not None:
        met = check.to_first_bone, check.first_bone_part
    if met is not None and wanted >= met[0]:
        depth, touched = met
    pierced = check.to_dura is not None and placement.depth < check.to_dura <= depth
    state = state.with_placement(
        depth=depth,
        touched_bone=touched,
        bone_contacts=placement.bone_contacts + int(touched is not None and wanted > placement.depth),
        dural_punctures=placement.dural_punctures + int(pierced),
    )
    return with_complication(state, "dural puncture") if pierced else state


def with_complication(state, kind):
    """Return the state with one more Complication, at the event that is being carried out."""
    found = Complication(kind, state.event_count + 1)
    return replace(state, complications=(*state.complications, found))


def _reangle_needle(state, event):
    placement = _in_patient(state)
    aim = placement.aim.with_changes(approach=event.approach, medial=event.medial)
    check = check_needle(state.anatomy, aim, placement.needle)
    fascia = check.to_fascia
    if fascia is not None and placement.depth > fascia:
        raise ValueError(
            f"needle_depth must be less than {fascia:.0f} mm, the depth of the fascia, before the needle is "
            f"re-angled, got {placement.depth:.0f}: withdraw it first"
        )
    return state.with_placement(aim=aim, check=check, reangles=placement.reangles + 1)


def _turn_bevel(state, event):
    placement = _in_patient(state)
    inside("angle", event.angle, -LONGEST_TURN, LONGEST_TURN, "rad")
    return state.with_placement(bevel=placement.bevel + event.angle)


def _move_stylet(state, event):
    _in_patient(state)
    return state.with_placement(stylet_inside=event.inside)


def _press_syringe(state, event):
    placement = _in_patient(state)
    one_of("medium", event.medium, MEDIA)
    inside("millilitres", event.millilitres, 0.0, LARGEST_SYRINGE, "ml")
    if placement.stylet_inside:
        raise ValueError(
            "stylet_inside must be false before a syringe is pressed, got true: take the stylet out first"
        )
    lost = in_epidural_space(placement.check, placement.depth)
    saline = event.millilitres if lost and event.medium == "saline" else 0.0
    return state.with_placement(saline=placement.saline + saline)


def in_epidural_space(check, depth):
    """Return whether the tip lies between the front of the flavum and the dura."""
    entered = check.to_epidural is not None and depth >= check.to_epidural
    return entered and (check.to_dura is None or depth < check.to_dura)


def _remove_needle(state, _):
    placement = _in_patient(state)
    if placement.lead is not None:
        raise ValueError("lead must be out before the needle is removed, got one inside: remove it first")
    return state.with_placement(depth=None, touched_bone=None)


def _give_local_anaesthetic(state, event):
    inside("millilitres", event.millilitres, 0.0, LARGEST_SYRINGE, "ml")
    given = state.patient.local_anaesthetic + event.millilitres
    return replace(state, patient=replace(state.patient, local_anaesthetic=given))


def _set_sedation(state, event):
    one_of("sedation", event.sedation, SEDATIONS)
    return replace(state, patient=replace(state.patient, sedation=event.sedation))


def _ask_patient(state, _):
    return replace(state, patient=replace(state.patient, words=_words(state)))


def _words(state):
    if state.patient.sedation == "deep":
        return "does not answer"
    return "feels pressure" if state.needle_depth is not None else "feels nothing new"


def _choose(state, event):
    one_of("choice", event.choice, CHOICES)
    left_open = [k for k, found in enumerate(state.complications) if not found.choice]
    if not left_open:
        raise ValueError("complications must hold one that is open, got none: go on with the work")
    last = left_open[-1]
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
    e.RemoveNeedle: _remove_needle,
    e.GiveLocalAnaesthetic: _give_local_anaesthetic,
    e.SetSedation: _set_sedation,
    e.AskPatient: _ask_patient,
    e.ChooseAfterComplication: _choose,
}
