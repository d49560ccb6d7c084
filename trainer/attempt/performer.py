"""A performer carries out an attempt as a person does, through events alone.

It plans with the same planner that everybody can use, and then sees what a person sees: the loss of
resistance at the needle, the hub in its hand, and in the X-ray picture the lead's tip and the shaft behind
it, with a reader's error. A controller, not a model of a person: its habits are tuned, not measured.
"""

from dataclasses import dataclass

import numpy as np

from meshes.levels import COLUMN, LEVELS, split_interspace
from scenarios.card import ITEMS
from trainer.attempt import events as e
from trainer.attempt.performer_habits import Habits
from trainer.attempt.performer_lead import LeadWork
from trainer.attempt.performer_needle import NeedleWork
from trainer.attempt.performer_room import RoomWork
from trainer.physics.needle import LEFT, RIGHT
from trainer.physics.plan import NoCorridorError


@dataclass
class Performance:
    """What the performer did.

    Parameters
    ----------
    reached : bool
        Whether the tip of every lead came to the top of the target level.
    turns, redirections, withdrawals, needles : int
        A redirection sends the bend to the other side.
    travel : float
        Of the leads, to and fro. [mm]
    """

    reached: bool = False
    turns: int = 0
    redirections: int = 0
    withdrawals: int = 0
    needles: int = 0
    travel: float = 0.0


def perform(attempt, *, habits=None, progress=None):
    """Carry out an attempt that has just begun.

    Parameters
    ----------
    attempt : trainer.attempt.attempt.Attempt
    habits : Habits, optional
        The expert's where none are given.
    progress : callable, optional
        `progress(done, total, words)`.

    Returns
    -------
    Performance
    """
    work = _Work(attempt, habits or Habits(), progress or (lambda *_: None))
    if work.takes_the_case():
        work.look_before()
        work.place_leads()
        work.finish()
    return work.performance


class _Work:
    """One performance: what is wanted, as the performer believes, and the work in its order."""

    def __init__(self, attempt, habits, progress):
        self.attempt, self.habits, self.progress = attempt, habits, progress
        self.task = attempt.scenario.task
        self.performance = Performance()
        # A stream for each use, so that a new use does not shift the others; time first of all.
        planning, reading, pace = np.random.default_rng(attempt.seed).spawn(3)
        self.planning, self.reading, self._pace = planning, reading, pace
        self.clock = 0.0
        self.interspace = shifted_interspace(self.task.interspace, habits.level_error)
        self.target = shifted_level(self.task.target_level, habits.level_error)
        self.room = RoomWork(self)

    @property
    def state(self):
        return self.attempt.state

    def do(self, event):
        """Carry out an event at the time that a hand would take for it."""
        self.clock += PACE.get(type(event), 1.0) * self._pace.uniform(0.8, 1.2)
        return self.attempt.do(event, stamp=round(self.clock, 3))

    def takes_the_case(self):
        """Read the card; return whether the case is taken."""
        for item in ITEMS:
            self.do(e.ReadItem(item))
        decision = self.attempt.scenario.decision
        if decision.expected == "proceed" or not self.habits.heeds_card:
            self.do(e.CommitPlan(self.interspace, self.task.side, self._longest(), self.target))
            return True
        kind = e.DeferCase if decision.expected == "defer" else e.RefuseCase
        self.do(kind(decision.reasons[0]))
        return False

    def _longest(self):
        return max(self.task.needle_lengths_mm)

    def look_before(self):
        self.room.count_levels()
        self.room.square(split_interspace(self.interspace)[0])

    def place_leads(self):
        sides = (self.task.side, RIGHT if self.task.side == LEFT else LEFT)
        for number, side in enumerate(sides[: self.task.leads]):
            if number:
                self.do(e.TakeUpNeedle("second"))
            if not self._place_lead(side):
                return
        self.performance.reached = True

    def _place_lead(self, side):
        """Site needles until the lead from one of them reaches the target; return whether it did."""
        lead = LeadWork(self, side)
        for _ in range(self.habits.most_needles):
            try:
                NeedleWork(self, side).site()
            except NoCorridorError:
                return False
            if self.state.phase == "debrief":
                return False
            if self.state.phase == "lead" and lead.steer():
                return True
        return False

    def finish(self):
        """Look at the result and call it done, unless the attempt has ended by itself."""
        if self.state.phase == "debrief":
            return
        self.room.square(self.target)
        if self.habits.looks_sideways:
            self.room.look(self.target, view="lateral")
        self.do(e.FinishAttempt())


# What a hand takes for an act, about. [s]
PACE = {
    e.ReadItem: 12.0,
    e.CommitPlan: 20.0,
    e.SetCArm: 8.0,
    e.TakePicture: 2.0,
    e.MarkLevel: 3.0,
    e.AimNeedle: 15.0,
    e.PlaceNeedle: 5.0,
    e.GiveLocalAnaesthetic: 20.0,
    e.PassLead: 15.0,
}


def shifted_interspace(interspace, levels):
    """Return the interspace some levels further down."""
    upper, _ = split_interspace(interspace)
    place = min(COLUMN.index(upper) + levels, len(COLUMN) - 2)
    return f"{COLUMN[place]}-{COLUMN[place + 1]}"


def shifted_level(level, levels):
    """Return the level some levels further down."""
    return LEVELS[min(LEVELS.index(level) + levels, len(LEVELS) - 1)]
