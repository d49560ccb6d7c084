"""The reference performer: does the task as an experienced hand would, through events alone.

It plans with the same planner that everybody can use, and then sees what a person sees: the loss of
resistance at the needle, the hub in its hand, and in the X-ray picture the lead's tip and the shaft behind
it, with a reader's error. A controller, not a model of a person: its habits are tuned, not measured.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from meshes.units import radians
from trainer.attempt import events as e
from trainer.physics.needle import Needle, side_sign
from trainer.physics.plan import plan_needle

LATERAL_VIEW = radians(90.0)
QUARTER_TURN = radians(90.0)
# Of the lead between two looks. [mm]
FEED = 1.0


@dataclass(frozen=True)
class Habits:
    """How the performer works; all assumed, tuned on invented cases.

    Parameters
    ----------
    reading_error : float
        Standard deviation of an offset read off a picture. [mm]
    look_ahead : float
        How far ahead the present heading is followed. [mm]
    gain : float
        Clock of the bend for each millimetre off the path ahead. [rad/mm]
    tolerance, wait : float
        Off the path ahead that is left alone, and travel between two corrections. [mm]
    clock_tolerance : float
        Of the hub; smaller differences are not worth a turn. [rad]
    lateral_offset, lateral_angle : float
        Beyond either the lead has left the dorsal space. [mm], [rad]
    reach, reach_share : float
        How far past the epidural entry the needle goes, but never beyond this share of the way to the dura.
        [mm]
    needle_step, spare_needle : float
        Of one push near the flavum, and of shaft that is left outside the skin. [mm]
    turn_step : float
        Of one turn of the hub. [rad]
    most_withdrawals, most_needles, longest_feed
        After which a needle, the task, or steering from one needle [mm of travel] is given up.
    """

    reading_error: float = 0.3
    look_ahead: float = 9.0
    gain: float = radians(18.0)
    tolerance: float = 1.5
    wait: float = 8.0
    clock_tolerance: float = radians(30.0)
    lateral_offset: float = 6.5
    lateral_angle: float = radians(58.0)
    reach: float = 2.0
    reach_share: float = 0.4
    needle_step: float = 1.0
    spare_needle: float = 10.0
    turn_step: float = radians(45.0)
    most_withdrawals: int = 6
    most_needles: int = 3
    longest_feed: float = 900.0


class Seen(NamedTuple):
    """What a frontal and a lateral picture show of the lead, with the reader's error."""

    station: float  # of the tip along the canal [mm]
    offset: float  # of the tip from the wanted path, + left [mm]
    heading: float  # offset gained for each millimetre of canal
    angle: float  # of the tip about the canal, 0 dorsal [rad]


@dataclass
class Performance:
    """What the performer did.

    Parameters
    ----------
    reached : bool
        Whether the tip came to the top of the target level.
    turns, redirections, withdrawals, needles : int
        A redirection sends the bend to the other side.
    travel : float
        Of the lead, to and fro. [mm]
    """

    reached: bool = False
    turns: int = 0
    redirections: int = 0
    withdrawals: int = 0
    needles: int = 0
    travel: float = 0.0


def perform(attempt, *, habits=None, progress=None):
    """Carry out the task of an attempt that has just begun.

    Parameters
    ----------
    attempt : trainer.attempt.attempt.Attempt
    habits : Habits, optional
    progress : callable, optional
        `progress(done, total, words)`.

    Returns
    -------
    Performance
    """
    performer = _Performer(attempt, habits or Habits(), progress or (lambda *_: None))
    performer.look_at(attempt.scenario.task.interspace)
    while not performer.performance.reached and performer.performance.needles < performer.habits.most_needles:
        performer.site_needle()
        performer.steer()
    performer.finish()
    return performer.performance


class _Performer:
    def __init__(self, attempt, habits, progress):
        task = attempt.scenario.task
        self.attempt, self.habits, self.progress, self.task = attempt, habits, progress, task
        self.performance = Performance()
        # A stream for each use, so that a new use does not shift the others.
        self.planning, self.reading = np.random.default_rng(attempt.seed).spawn(2)
        spans = {level: (bottom, top) for level, bottom, top in attempt.anatomy.canal.level_spans}
        self.goal = spans[task.target_level][1]
        self.path = side_sign(task.side) * task.target_offset_mm
        self.last_side = 0.0

    # Pictures and needle

    def look_at(self, centre, *, orbit=0.0):
        self.attempt.do(e.TakePicture(orbit, 0.0, centre))

    def site_needle(self):
        """Bring the needle's mouth into the epidural space and the lead to the mouth; re-site an old one."""
        if self.attempt.state.phase == "lead":
            self.attempt.do(e.RemoveLead())
        if self.attempt.state.phase == "needle":
            self.attempt.do(e.RemoveNeedle())
        self.progress(0, 1, "planning the needle")
        self._plan()
        self.performance.needles += 1
        self.attempt.do(e.PlaceNeedle())
        self._advance_to_loss_of_resistance()
        self.look_at(self.task.interspace, orbit=LATERAL_VIEW)
        self.attempt.do(e.PassLead())

    def _plan(self):
        task = self.task
        longest = Needle(length=max(task.needle_lengths_mm))
        planned = plan_needle(
            self.attempt.anatomy,
            task.interspace,
            side=task.side,
            needle=longest,
            largest_approach=radians(task.largest_approach_deg),
            rng=self.planning,
        )
        state = self._propose(planned.aim, longest.length)
        wanted = state.check.to_epidural + self.habits.spare_needle
        fitting = [length for length in task.needle_lengths_mm if length >= wanted]
        if fitting and fitting[0] < longest.length:
            self._propose(planned.aim, fitting[0])

    def _propose(self, aim, length):
        return self.attempt.do(
            e.PlanNeedle(aim.interspace, aim.side, aim.entry_x, aim.entry_z, aim.approach, aim.medial, length)
        )

    def _advance_to_loss_of_resistance(self):
        check, habits = self.attempt.state.check, self.habits
        self.attempt.do(e.AdvanceNeedle(max(check.to_flavum - 5.0 * habits.needle_step, 0.0)))
        self.look_at(self.task.interspace, orbit=LATERAL_VIEW)
        while self.attempt.state.needle_depth < check.to_epidural:
            self.attempt.do(e.AdvanceNeedle(habits.needle_step))
        depth = check.to_epidural + min(habits.reach, habits.reach_share * check.safe_travel)
        self.attempt.do(e.AdvanceNeedle(depth - self.attempt.state.needle_depth))

    # Lead

    def steer(self):
        """Feed the lead to the target; stop there, or when it is of no use to go on from this needle."""
        start = self._see().station
        progress, since, withdrawals = [], math.inf, 0
        while self.performance.travel < self.habits.longest_feed * self.performance.needles:
            seen = self._see()
            self.progress(
                seen.station - start, self.goal - start, f"steering to the top of {self.task.target_level}"
            )
            if seen.station >= self.goal - 0.5 * FEED:
                self.performance.reached = True
                return
            if since >= self.habits.wait and self._correct(seen):
                since = 0.0
            lateral = self._is_lateral(seen, withdrawals)
            stuck = len(progress) >= 4 and seen.station - progress[-4] < 0.8
            if (lateral or stuck) and self.attempt.state.lead.fed > 14.0:
                if withdrawals == self.habits.most_withdrawals:
                    return
                withdrawals += 1
                self._withdraw(seen, lateral=lateral)
                progress, since = [], -5.0
                continue
            progress.append(seen.station)
            self._feed(FEED)
            since += FEED

    def finish(self):
        self.look_at(self.task.target_level)
        self.look_at(self.task.target_level, orbit=LATERAL_VIEW)
        self.attempt.do(e.FinishAttempt())

    def _see(self):
        """Read the frontal picture (offsets) and the lateral one (dorsal or not)."""
        nodes = self.attempt.state.lead.nodes
        behind = max(2, len(nodes) - 8)
        station, theta, radius = self.attempt.anatomy.canal.to_chart(nodes[[-1, behind]])
        error = self.reading.normal(0.0, self.habits.reading_error, 2) * (1.0, 0.5)
        offset = radius * np.sin(theta) + error - self.path
        heading = (offset[0] - offset[1]) / max(station[0] - station[1], 1.0)
        return Seen(float(station[0]), float(offset[0]), float(heading), float(theta[0]))

    def _ahead(self, seen):
        return seen.offset + self.habits.look_ahead * seen.heading

    def _correct(self, seen):
        """Turn the bend against where the lead is going; return whether a turn was worth it."""
        ahead, clock = self._ahead(seen), self._clock()
        wanted = min(max(-self.habits.gain * ahead, -QUARTER_TURN), QUARTER_TURN)
        if abs(ahead) < self.habits.tolerance:
            # On the path: leave the bend, or bring it back to the back of the canal.
            wanted = 0.0 if abs(clock) > 0.5 * QUARTER_TURN else clock
        if abs(_wrapped(wanted - clock)) <= self.habits.clock_tolerance:
            return False
        self._turn_to(wanted)
        return True

    def _is_lateral(self, seen, withdrawals):
        out = abs(seen.offset) > self.habits.lateral_offset or abs(seen.angle) > self.habits.lateral_angle
        returning = abs(self._ahead(seen)) <= abs(seen.offset) - 0.5
        inside = self.attempt.state.lead.fed > (20.0 if withdrawals < 3 else 30.0)
        return out and not returning and inside

    def _withdraw(self, seen, *, lateral):
        """Pull back until the tip lies dorsal again, and send the bend to the other side."""
        self.performance.withdrawals += 1
        back = 0.0
        while back < (30.0 if lateral else 12.0) and self.attempt.state.lead.fed > 10.0:
            self._feed(-FEED)
            back += FEED
            now = self._see()
            if back >= 12.0 and abs(now.offset) < 2.5 and abs(now.angle) < radians(35.0):
                break
        self._turn_to(math.copysign(QUARTER_TURN if lateral else radians(60.0), -seen.offset))

    def _feed(self, millimetres):
        self.performance.travel += abs(millimetres)
        self.attempt.do(e.AdvanceLead(millimetres))

    def _clock(self):
        """Where the hub says the bend points: 0 dorsal, + towards the patient's left. [rad]

        The bend itself lags behind the hub by friction and lets go when the lead moves on; chasing it would
        wind the shaft up.
        """
        return _wrapped(-self.attempt.state.lead.hub)

    def _turn_to(self, wanted):
        """Turn the hub until it says `wanted`."""
        for part in self._parts(_wrapped(wanted - self._clock())):
            self.attempt.do(e.TurnLead(-part))
        self.performance.turns += 1
        side = 0.0 if abs(wanted) <= radians(15.0) else math.copysign(1.0, wanted)
        if side and self.last_side and side != self.last_side:
            self.performance.redirections += 1
        self.last_side = side or self.last_side

    def _parts(self, angle):
        """Split an angle into equal turns of a hand."""
        count = math.ceil(abs(angle) / self.habits.turn_step - 1e-9)
        return [angle / count for _ in range(count)]


def _wrapped(angle):
    return (angle + math.pi) % (2.0 * math.pi) - math.pi
