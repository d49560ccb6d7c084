"""What the events of the leads do."""

from dataclasses import replace

from trainer.attempt import events as e
from trainer.attempt.lead_events import STYLETS, WHICH
from trainer.attempt.needle_acts import LONGEST_TURN
from trainer.attempt.refusals import inside, one_of
from trainer.physics import lead_pair
from trainer.physics.lead import Mouth, advance, insert_lead, rotate
from trainer.physics.lead_kinds import LEADS, change_stylet, lead_kind, pull_stylet
from trainer.physics.lead_release import inject_saline, pull_needle
from trainer.physics.lead_tuning import LeadTuning
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
    if not placement.inside.in_epidural_space:
        raise ValueError(
            f"the opening must lie in the epidural space before a lead is passed, got a tip at "
            f"{placement.depth:.1f} mm: advance until resistance is lost"
        )
    canal = state.anatomy.canal
    point, direction = placement.inside.mouth()
    _, _, _, dorsal = canal.frame_at(float(canal.to_chart(point)[0]))
    opened = stylet(placement.inside, inside=False)
    mouth, first = Mouth(point, direction, dorsal), _other(state).lead
    kind = lead_kind(placement.contacts, stylet=placement.stylet, tuning=tuning_of(state))
    changes = {"lead_passes": placement.lead_passes + 1, "inside": opened}
    if first is None:
        return _with_lead(state, insert_lead(canal, mouth, kind), **changes)
    first, lead = lead_pair.insert_second(first, mouth, kind).leads
    return _with_lead(_with_other(state, first), lead, **changes)


def tuning_of(state):
    """Return the LeadTuning of the case."""
    return LeadTuning(**state.scenario.tuning.inside())


def _other(state):
    return state.placements[1 - state.active]


def _with_other(state, lead):
    """Return the state with the lead that is not in hand where the other has pushed it."""
    away = 1 - state.active
    both = tuple(replace(one, lead=lead) if k == away else one for k, one in enumerate(state.placements))
    return replace(state, placements=both)


def _moved(state, alone, paired, amount):
    """Return the state after the lead in hand was moved, the other one giving way where they touch."""
    other = _other(state).lead
    if other is None:
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
