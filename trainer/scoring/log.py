"""The log that is judged: the events of an attempt in order, each with the state before and after."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from trainer.attempt import events as e


class Act(NamedTuple):
    """One event with the states around it and the time at which it happened [s], or None."""

    event: object
    before: object
    after: object
    stamp: float | None


@dataclass(frozen=True, eq=False)
class Log:
    """What an attempt leaves to be judged.

    Parameters
    ----------
    first : AttemptState
    acts : tuple of Act
    undone : int
        How many events were taken back, in practice.
    """

    first: object
    acts: tuple
    undone: int = 0

    @classmethod
    def of(cls, attempt):
        """Return the Log of an Attempt, running or finished."""
        acts, before = [], attempt.first
        for done in attempt.done:
            acts.append(Act(done.event, before, done.state, done.stamp))
            before = done.state
        return cls(attempt.first, tuple(acts), attempt.undone)

    @property
    def case(self):
        """The scenarios.scenario.Scenario."""
        return self.first.scenario

    @property
    def task(self):
        return self.case.task

    @property
    def anatomy(self):
        return self.first.anatomy

    @cached_property
    def last(self):
        """The state that the attempt ended in."""
        return self.acts[-1].after if self.acts else self.first

    @cached_property
    def by_kind(self):
        """{kind of event: tuple of Act}, in order."""
        found = {}
        for act in self.acts:
            found.setdefault(type(act.event), []).append(act)
        return {kind: tuple(acts) for kind, acts in found.items()}

    def acts_of(self, *kinds):
        """Return the acts of one kind, or of several in order."""
        if len(kinds) == 1:
            return self.by_kind.get(kinds[0], ())
        return tuple(act for act in self.acts if isinstance(act.event, kinds))

    @cached_property
    def used(self):
        """The placements whose needle was in the patient at any time, as they ended."""
        return tuple(one for one in self.last.placements if one.passes)

    @cached_property
    def with_lead(self):
        """The placements in which a lead lies in the end."""
        return tuple(one for one in self.last.placements if one.lead is not None)

    @cached_property
    def passed(self):
        """For each placement with a lead passed, the last Act that passed it."""
        latest = {}
        for act in self.acts_of(e.PassLead):
            latest[act.after.active] = act
        return tuple(latest[k] for k in sorted(latest))

    @cached_property
    def first_puncture(self):
        """Index of the first act that puts a needle through the skin, or the number of acts."""
        found = (k for k, act in enumerate(self.acts) if isinstance(act.event, e.PlaceNeedle))
        return next(found, len(self.acts))
