"""What the events of the plan do."""

from dataclasses import replace

from meshes.levels import LEVELS, check_interspace, check_level
from scenarios.card import ITEMS, REASONS
from trainer.attempt import events as e
from trainer.attempt.refusals import one_of
from trainer.physics.needle import check_side


def _read_item(state, event):
    one_of("item", event.item, ITEMS)
    read = state.plan.items_read
    if event.item in read:
        return state
    return replace(state, plan=replace(state.plan, items_read=(*read, event.item)))


def _decide(state, event):
    one_of("reason", event.reason, REASONS)
    if any(one.depth is not None or one.lead is not None for one in state.placements):
        raise ValueError(
            "reason must be given while nothing is in the patient, got one with a needle or lead in place: "
            "take it out first"
        )
    decision = "defer" if isinstance(event, e.DeferCase) else "refuse"
    return replace(state, plan=replace(state.plan, decision=decision, reason=event.reason))


def _commit_plan(state, event):
    needle_on_the_table(state, event.needle_length)
    interspace, level = check_interspace(event.interspace), check_level(event.target_level)
    one_of("target_level", level, LEVELS)
    plan = replace(
        state.plan,
        decision="proceed",
        interspace=interspace,
        side=check_side(event.side),
        target_level=level,
        needle_length=event.needle_length,
    )
    return replace(state, plan=plan)


def needle_on_the_table(state, length):
    """Raise ValueError unless a needle of this length [mm] lies on the table of the case."""
    lengths = state.scenario.task.needle_lengths_mm
    if length not in lengths:
        raise ValueError(
            f"needle_length must be one of {', '.join(f'{one:g}' for one in lengths)}, "
            f"got {length:g}: choose a needle that lies on the table"
        )


def _same(state, _):
    return state


ACTS = {
    e.ReadItem: _read_item,
    e.DeferCase: _decide,
    e.RefuseCase: _decide,
    e.CommitPlan: _commit_plan,
    e.BeginTest: _same,
    e.BeginSecuring: _same,
    e.FinishAttempt: _same,
}
