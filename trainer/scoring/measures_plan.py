"""Measures of the plan: what was read and decided, which levels were chosen and how they were counted."""

from scenarios.card import ITEMS
from trainer.attempt import events as e
from trainer.scoring.measure import measure

MUST_READ = ("medicines", "consent", "infection")


@measure("Safety items of the card read before the first puncture")
def safety_items_read(log):
    return all(item in _read_before_puncture(log) for item in MUST_READ)


@measure("Share of the card and the slices read before the first puncture", unit="%")
def card_read(log):
    return 100.0 * len(_read_before_puncture(log)) / len(ITEMS)


def _read_before_puncture(log):
    acts = log.acts[: log.first_puncture]
    return acts[-1].after.plan.items_read if acts else ()


@measure("Case taken, put off or declined as a careful resident would")
def decision_right(log):
    plan, wanted = log.last.plan, log.case.decision
    if plan.decision != wanted.expected:
        return False
    return wanted.expected == "proceed" or plan.reason in wanted.reasons


@measure("Interspace of the plan is one that suits the case")
def interspace_suits(log):
    plan = log.last.plan
    return plan.interspace in log.task.interspaces if plan.interspace else None


@measure("Target of the plan covers the pain of the case")
def target_suits(log):
    plan = log.last.plan
    return plan.target_level in log.task.targets if plan.target_level else None


@measure("Needle entered an interspace that suits the case")
def entered_level_right(log):
    """Judge every needle through which a lead was passed, by where its axis truly enters the canal."""
    entered = [act.before.check.entered for act in log.passed]
    return all(one in log.task.interspaces for one in entered) if entered else None


@measure("Levels counted both from the sacrum and from the ribs before the first puncture")
def counted_both_ways(log):
    return {act.event.counted_from for act in _marks(log)} == {"sacrum", "ribs"}


@measure("Share of the marked levels named rightly", unit="%")
def marks_right(log):
    marks = log.last.room.marks
    return 100.0 * sum(m.level == m.true_level for m in marks) / len(marks) if marks else None


def _marks(log):
    return [act for act in log.acts[: log.first_puncture] if isinstance(act.event, e.MarkLevel)]
