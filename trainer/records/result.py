"""What came of an attempt, as plain values for JSON and for the report. Lengths in mm, angles in degrees."""

import math

from meshes.units import degrees
from trainer.attempt.events import AdvanceLead, TurnLead
from trainer.physics.needle import side_sign
from trainer.physics.readings import read_lead

# Within this of the level and of the wanted offset a lead counts as placed (common practice).
PLACED_WITHIN_MM = 2.0


def result_of(attempt):
    """Return what came of an attempt.

    Parameters
    ----------
    attempt : trainer.attempt.attempt.Attempt

    Returns
    -------
    dict
        Plain numbers, texts, lists and dicts; an unknown number is None.
    """
    state = attempt.state
    reading = read_lead(state.lead, state.anatomy) if state.lead is not None else None
    return {
        "case": state.scenario.title,
        "seed": state.seed,
        "phase": state.phase,
        "events": state.event_count,
        "mode": state.mode,
        "pictures": state.room.images,
        "needle": _needle(state) if state.check is not None else None,
        "lead": _lead(attempt, state, reading) if reading is not None else None,
        "digest": attempt.done[-1].digest if attempt.done else None,
    }


def _needle(state):
    check, aim = state.check, state.aim
    return {
        "interspace": aim.interspace,
        "side": aim.side,
        "length_mm": state.needle.length,
        "approach_deg": _round(degrees(aim.approach)),
        "medial_deg": _round(degrees(aim.medial)),
        "angle_to_canal_deg": _round(degrees(check.angle_to_canal)),
        "flavum_at_mm": _round(check.to_flavum),
        "epidural_at_mm": _round(check.to_epidural),
        "dura_at_mm": _round(check.to_dura),
        "depth_below_skin_mm": _round(check.depth_below_skin),
        "least_clearance_mm": _round(check.least_clearance),
        "offset_at_entry_mm": _round(check.lateral_offset),
        "tip_depth_mm": _round(state.needle_depth),
        "passes": state.needle_passes,
        "dural_punctures": state.dural_punctures,
        "verdict": check.verdict,
        "reasons": [reason.text for reason in check.reasons],
    }


def _lead(attempt, state, reading):
    task = state.scenario.task
    top = next(top for level, _, top in state.anatomy.canal.level_spans if level == task.target_level)
    tip = reading.tip
    fed = [done.event for done in attempt.done if isinstance(done.event, AdvanceLead)]
    turns = [done.event for done in attempt.done if isinstance(done.event, TurnLead)]
    short = top - tip.station
    off = tip.axis_offset - side_sign(task.side) * task.target_offset_mm
    dorsal = all(contact.region == "dorsal" for contact in reading.contacts)
    return {
        "tip_level": reading.tip_level,
        "below_target_mm": _round(short),
        "tip_offset_mm": _round(tip.axis_offset),
        "offset_from_target_mm": _round(off),
        "placed": bool(abs(short) <= PLACED_WITHIN_MM and abs(off) <= PLACED_WITHIN_MM and dorsal),
        "all_contacts_dorsal": dorsal,
        "fed_mm": _round(state.lead.fed),
        "turns_of_the_hub": len(turns),
        "withdrawals": sum(event.millimetres < 0.0 for event in fed),
        "largest_push_n": _round(state.largest_push, 2),
        "largest_dent_mm": _round(state.largest_dent),
        "converged": bool(reading.converged),
        "contacts": [_contact(contact) for contact in reading.contacts],
    }


def _contact(contact):
    return {
        "number": contact.number,
        "level": contact.level,
        "axis_offset_mm": _round(contact.axis_offset),
        "anatomic_offset_mm": _round(contact.anatomic_offset),
        "cord_offset_mm": _round(contact.cord_offset),
        "region": contact.region,
        "dura_clearance_mm": _round(contact.dura_clearance),
        "cord_clearance_mm": _round(contact.cord_clearance),
    }


def _round(value, digits=1):
    return None if value is None or not math.isfinite(value) else round(float(value), digits)
