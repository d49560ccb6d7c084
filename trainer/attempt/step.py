"""The rules of an attempt: which event may follow where, and what it changes."""

from dataclasses import replace

from meshes.anatomy import build_anatomy
from meshes.units import degrees
from trainer.attempt import events as e
from trainer.attempt.state import AttemptState
from trainer.physics.lead import Mouth, advance, insert_lead, rotate
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_check import check_needle
from trainer.physics.xray_carm import CArm, isocentre_at

# phase -> event -> phase. What is not named here is refused and changes nothing.
TABLE = {
    "plan": {e.PlanNeedle: "plan", e.TakePicture: "picture", e.FinishAttempt: "debrief"},
    "picture": {
        e.PlanNeedle: "picture",
        e.TakePicture: "picture",
        e.PlaceNeedle: "needle",
        e.FinishAttempt: "debrief",
    },
    "needle": {
        e.AdvanceNeedle: "needle",
        e.TakePicture: "needle",
        e.RemoveNeedle: "picture",
        e.PassLead: "lead",
        e.FinishAttempt: "debrief",
    },
    "lead": {
        e.AdvanceLead: "lead",
        e.TurnLead: "lead",
        e.TakePicture: "lead",
        e.RemoveLead: "needle",
        e.FinishAttempt: "debrief",
    },
    "debrief": {},
}


def begin(scenario, *, seed=None, anatomy=None, progress=None):
    """Return the first state of an attempt.

    Parameters
    ----------
    seed : int, optional
        The scenario's own where none is given.
    anatomy : Anatomy, optional
        The one that belongs to the scenario, if it is built already.
    progress : callable, optional
        `progress(done, total, words)` while bones are built.
    """
    built = (
        anatomy if anatomy is not None else build_anatomy(scenario.anatomy.parameters(), progress=progress)
    )
    return AttemptState(scenario=scenario, seed=scenario.seed if seed is None else seed, anatomy=built)


def step(state, event):
    """Return the state after an event; pure.

    Raises
    ------
    ValueError
        If the event is not allowed in this phase, or what it asks for cannot be done; nothing has changed.
    """
    following = TABLE[state.phase].get(type(event))
    if following is None:
        raise ValueError(_refusal(state.phase, event))
    return replace(_ACTS[type(event)](state, event), phase=following, event_count=state.event_count + 1)


def _refusal(phase, event):
    allowed, came = [kind.__name__ for kind in TABLE[phase]], type(event).__name__
    if not allowed:
        return f"event must come before FinishAttempt, got {came} after it: begin a new attempt"
    return f"event must be one of {', '.join(allowed)} in the phase {phase}, got {came}: choose one of these"


def _plan_needle(state, event):
    task = state.scenario.task
    if event.needle_length not in task.needle_lengths_mm:
        raise ValueError(
            f"needle_length must be one of {', '.join(f'{length:g}' for length in task.needle_lengths_mm)}, "
            f"got {event.needle_length:g}: choose a needle that lies on the table"
        )
    # A person's angle is read from a protractor: a hundredth of a degree is not worth a refusal.
    if degrees(event.approach) > task.largest_approach_deg + 0.01:
        raise ValueError(
            f"approach must be at most {task.largest_approach_deg:g} degrees in this case, "
            f"got {degrees(event.approach):.1f}: come in flatter"
        )
    check_entry(state.anatomy, event.entry_x, event.entry_z)
    needle = Needle(length=event.needle_length)
    aim = NeedleAim(
        event.interspace, event.entry_x, event.entry_z, event.approach, event.medial, side=event.side
    )
    return replace(state, aim=aim, needle=needle, check=check_needle(state.anatomy, aim, needle))


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


def _take_picture(state, event):
    c_arm(state.anatomy, event)
    return replace(state, pictures=(*state.pictures, event))


def c_arm(anatomy, picture):
    """Return the CArm of a TakePicture event; raises ValueError if it cannot stand like that."""
    return CArm(isocentre_at(anatomy, picture.centre), picture.orbit, picture.tilt)


def _place_needle(state, _):
    if state.aim is None:
        raise ValueError("aim must be planned before the needle is placed, got none: plan the needle first")
    return replace(state, needle_depth=0.0, touched_bone=None, needle_passes=state.needle_passes + 1)


def _advance_needle(state, event):
    """Move the tip; bone stops it, behind the canal or in front of it."""
    wanted, check = state.needle_depth + event.millimetres, state.check
    if wanted < 0.0:
        raise ValueError(
            f"millimetres must leave the needle in the skin, got {event.millimetres:g} at a depth of "
            f"{state.needle_depth:g}: remove the needle instead"
        )
    if wanted > state.needle.length:
        raise ValueError(
            f"millimetres must keep the hub out of the skin, got {event.millimetres:g} at a depth of "
            f"{state.needle_depth:g} with a needle of {state.needle.length:g}: take a longer needle"
        )
    depth, touched = wanted, None
    met = check.bone_in_front
    if check.first_bone is not None:
        met = check.to_first_bone, check.first_bone_part
    if met is not None and wanted >= met[0]:
        depth, touched = met
    pierced = check.to_dura is not None and state.needle_depth < check.to_dura <= depth
    return replace(
        state,
        needle_depth=depth,
        touched_bone=touched,
        dural_punctures=state.dural_punctures + int(pierced),
    )


def _remove_needle(state, _):
    return replace(state, needle_depth=None, touched_bone=None)


def _in_epidural_space(check, depth):
    entered = check.to_epidural is not None and depth >= check.to_epidural
    return entered and (check.to_dura is None or depth < check.to_dura)


def _pass_lead(state, _):
    check, depth = state.check, state.needle_depth
    if not _in_epidural_space(check, depth):
        raise ValueError(
            f"needle_depth must lie in the epidural space before a lead is passed, got {depth:.1f}: "
            "advance until resistance is lost, or pull back out of the dura"
        )
    canal = state.anatomy.canal
    point, direction = check.mouth(depth - check.to_epidural)
    _, _, _, dorsal = canal.frame_at(float(canal.to_chart(point)[0]))
    lead = insert_lead(canal, Mouth(point, direction, dorsal))
    return _with_lead(replace(state, lead_passes=state.lead_passes + 1), lead)


def _with_lead(state, lead):
    return replace(
        state,
        lead=lead,
        largest_push=max(state.largest_push, lead.push),
        largest_dent=max(state.largest_dent, lead.largest_dent),
    )


def _advance_lead(state, event):
    return _with_lead(state, advance(state.lead, event.millimetres))


def _turn_lead(state, event):
    return _with_lead(state, rotate(state.lead, event.angle))


def _remove_lead(state, _):
    return replace(state, lead=None)


def _finish(state, _):
    return state


_ACTS = {
    e.PlanNeedle: _plan_needle,
    e.TakePicture: _take_picture,
    e.PlaceNeedle: _place_needle,
    e.AdvanceNeedle: _advance_needle,
    e.RemoveNeedle: _remove_needle,
    e.PassLead: _pass_lead,
    e.AdvanceLead: _advance_lead,
    e.TurnLead: _turn_lead,
    e.RemoveLead: _remove_lead,
    e.FinishAttempt: _finish,
}
