"""What the events of the leads do."""

from dataclasses import replace

from trainer.attempt import events as e
from trainer.attempt.lead_events import STYLETS, WHICH
from trainer.attempt.needle_acts import LONGEST_TURN
from trainer.attempt.refusals import inside, one_of
from trainer.attempt.state import Complication
from trainer.physics import lead_pair
from trainer.physics.intrathecal import insert_intrathecal
from trainer.physics.lead import Mouth, advance, insert_lead, rotate, settle_on
from trainer.physics.lead_kinds import LEADS, change_stylet, lead_kind, pull_stylet
from trainer.physics.lead_release import inject_saline, pull_needle
from trainer.physics.lead_tuning import LeadTuning
from trainer.physics.needle_consequences import LEAD_IN_SAC
from trainer.physics.needle_turn import stylet

LARGEST_INJECTION = 10.0  # [ml]


def _choose_lead(state, event):
    if event.contacts not in LEADS:
        raise ValueError(
            f"contacts must be one of {', '.join(f'{n:g}' for n in LEADS)}, got {event.contacts:g}: "
            "choose a lead that lies on the table"
        )
    one_of("stylet", event.stylet, STYLETS)
    return state.with_placement(contacts=int(event.contacts), stylet=event.stylet)


def _pass_lead(state, _):
    placement = state.placement
    if placement.inside is None:
        raise ValueError("needle_depth must be a number, got none: place the needle first")
    if not placement.inside.in_epidural_space and not placement.inside.in_sac:
        raise ValueError(
            f"the opening must lie in the epidural space before a lead is passed, got a tip at "
            f"{placement.depth:.1f} mm: advance until resistance is lost"
        )
    canal = state.anatomy.canal
    point, direction = placement.inside.mouth()
    _, _, _, dorsal = canal.frame_at(float(canal.to_chart(point)[0]))
    opened = stylet(placement.inside, inside=False)
    mouth = Mouth(point, direction, dorsal)
    kind = lead_kind(placement.contacts, stylet=placement.stylet, tuning=tuning_of(state))
    changes = {"lead_passes": placement.lead_passes + 1, "inside": opened}
    if placement.inside.in_sac:
        return _told_in_the_sac(_with_lead(state, insert_intrathecal(canal, mouth, kind), **changes))
    first = _neighbour(state)
    if first is None:
        return _with_lead(state, insert_lead(canal, mouth, kind), **changes)
    first, lead = lead_pair.insert_second(first, mouth, kind).leads
    return _with_lead(_with_other(state, first), lead, **changes)


def _told_in_the_sac(state):
    """Return the state with the complication: the lead falls in without resistance, beside the cord."""
    found = Complication(LEAD_IN_SAC, state.event_count + 1)
    return replace(state, complications=(*state.complications, found))


def tuning_of(state):
    """Return the LeadTuning of the case."""
    return LeadTuning(**state.scenario.tuning.inside())


def _other(state):
    return state.placements[1 - state.active]


def _neighbour(state):
    """Return the other lead, or None; the dura parts one in the sac from the rest."""
    lead = _other(state).lead
    return None if lead is None or lead.setup.intrathecal else lead


def carried_on(before, after):
    """Return a state in which a lead that nobody has moved, but that was not at rest, was searched further.

    A command is cut short so that the hand never waits; what it has left is done with the events that follow.
    """
    pairs = zip(before.placements, after.placements)
    both = tuple(replace(now, lead=settle_on(now.lead)) if _waits(was, now) else now for was, now in pairs)
    return replace(after, placements=both) if both != after.placements else after


def _waits(was, now):
    return now.lead is not None and now.lead is was.lead and not now.lead.converged


def _with_other(state, lead):
    """Return the state with the lead that is not in hand where the other has pushed it."""
    away = 1 - state.active
    both = tuple(replace(one, lead=lead) if k == away else one for k, one in enumerate(state.placements))
    return replace(state, placements=both)


def _moved(state, alone, paired, amount):
    """Return the state after the lead in hand was moved, the other one giving way where they touch."""
    other = _neighbour(state)
    if other is None or _in_hand(state).setup.intrathecal:
        return _with_lead(state, alone(_in_hand(state), amount))
    pair = lead_pair.LeadPair((_in_hand(state), other))
    lead, other = paired(pair, 0, amount).leads
    return _with_lead(_with_other(state, other), lead)


def _with_lead(state, lead, **changes):
    return replace(
        state.with_placement(lead=lead, **changes),
        largest_push=max(state.largest_push, lead.push),
        largest_dent=max(state.largest_dent, lead.largest_dent),
    )


def _in_hand(state):
    if state.lead is None:
        raise ValueError(
            "lead must be in the patient, got none in hand: pass a lead through the needle first"
        )
    return state.lead


def _advance_lead(state, event):
    _in_hand(state)
    _through_the_needle(state, "moved")
    return _moved(state, advance, lead_pair.advance, event.millimetres)


def _turn_lead(state, event):
    inside("angle", event.angle, -LONGEST_TURN, LONGEST_TURN, "rad")
    return _moved(state, rotate, lead_pair.rotate, event.angle)


def _through_the_needle(state, what):
    if state.placement.depth is None:
        raise ValueError(
            f"needle_depth must be a number while the lead is {what}, got none: the needle is out already"
        )


def _change_stylet(state, event):
    lead = _in_hand(state)
    one_of("stylet", event.stylet, STYLETS)
    return _with_lead(state, change_stylet(lead, event.stylet, tuning=tuning_of(state)), stylet=event.stylet)


def _inject_saline(state, event):
    _through_the_needle(state, "washed")
    inside("millilitres", event.millilitres, 0.0, LARGEST_INJECTION, "ml")
    washed = inject_saline(_in_hand(state), event.millilitres)
    return _with_lead(state, washed, saline=state.placement.saline + event.millilitres)


def _remove_lead(state, _):
    _in_hand(state)
    _through_the_needle(state, "removed through it")
    return state.with_placement(lead=None)


def _take_up_needle(state, event):
    one_of("which", event.which, WHICH)
    taken = replace(state, active=WHICH.index(event.which))
    if taken.lead is not None:
        raise ValueError(
            f"which must name a needle without a lead in it, got {event.which}: take up its lead instead"
        )
    return taken


def _take_up_lead(state, event):
    one_of("which", event.which, WHICH)
    taken = replace(state, active=WHICH.index(event.which))
    if taken.lead is None:
        raise ValueError(
            f"which must name a lead that is in the patient, got {event.which}: pass it through a needle"
        )
    return taken


def _pull_stylet(state, _):
    lead = _in_hand(state)
    if state.placement.stylet == "out":
        raise ValueError("stylet must be in the lead before it is pulled, got it out: go on")
    return _with_lead(state, pull_stylet(lead), stylet="out")


def _pull_needle(state, _):
    lead = _in_hand(state)
    _through_the_needle(state, "held")
    return _with_lead(state, pull_needle(lead), inside=None)


ACTS = {
    e.ChooseLead: _choose_lead,
    e.PassLead: _pass_lead,
    e.AdvanceLead: _advance_lead,
    e.TurnLead: _turn_lead,
    e.ChangeStylet: _change_stylet,
    e.InjectSaline: _inject_saline,
    e.RemoveLead: _remove_lead,
    e.TakeUpNeedle: _take_up_needle,
    e.TakeUpLead: _take_up_lead,
    e.PullStylet: _pull_stylet,
    e.PullNeedle: _pull_needle,
}
