"""How a performer steers a lead: looks, feeds, turns the bend against the drift, withdraws when it strays."""

import math
from typing import NamedTuple

import numpy as np

from meshes.units import radians
from trainer.attempt import events as e
from trainer.physics.needle import side_sign

QUARTER_TURN = radians(90.0)


class Seen(NamedTuple):
    """What a frontal and a lateral picture show of the lead, with the reader's error."""

    station: float  # of the tip along the canal [mm]
    offset: float  # of the tip from the wanted path, + left [mm]
    heading: float  # offset gained for each millimetre of canal
    angle: float  # of the tip about the canal, 0 dorsal [rad]


class LeadWork:
    """One lead of one performance."""

    def __init__(self, work, side):
        self.work, self.habits = work, work.habits
        spans = {level: top for level, _, top in work.attempt.anatomy.canal.level_spans}
        self.goal = spans[work.target]
        self.path = side_sign(side) * (work.task.target_offset_mm + self.habits.lead_offset)
        self.last_side = 0.0
        self.travel = 0.0

    def steer(self):
        """Feed the lead to the target; return whether it came there before it was given up."""
        start = self._see().station
        progress, since, withdrawals, limit = [], math.inf, 0, self.travel + self.habits.longest_feed
        while self.travel < limit:
            seen = self._see()
            self.work.progress(
                seen.station - start, self.goal - start, f"steering to the top of {self.work.target}"
            )
            left = self.goal - seen.station
            if left <= 0.5:
                return True
            if since >= self.habits.wait and self._correct(seen):
                since = 0.0
            lateral = self._is_lateral(seen, withdrawals)
            if (lateral or self._is_stuck(progress, seen)) and self.work.state.lead.fed > 14.0:
                if withdrawals == self.habits.most_withdrawals:
                    return False
                withdrawals += 1
                self._withdraw(seen, lateral=lateral)
                progress, since = [], -5.0
                continue
            progress.append(seen.station)
            step = min(self.habits.feed, max(left, 1.0))
            if not self._feed(step):
                return False
            since += step
        return False

    def _is_stuck(self, progress, seen):
        looks = int(self.habits.patience)
        return len(progress) >= looks and seen.station - progress[-looks] < 0.2 * looks * self.habits.feed

    def _see(self):
        """Read the frontal picture (offsets) and the lateral one (dorsal or not)."""
        nodes = self.work.state.lead.nodes
        behind = max(2, len(nodes) - 8)
        station, theta, radius = self.work.attempt.anatomy.canal.to_chart(nodes[[-1, behind]])
        error = self.work.reading.normal(0.0, self.habits.reading_error, 2) * (1.0, 0.5)
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
        inside = self.work.state.lead.fed > (20.0 if withdrawals < 3 else 30.0)
        return out and not returning and inside

    def _withdraw(self, seen, *, lateral):
        """Pull back until the tip lies dorsal again, and send the bend to the other side."""
        self.work.performance.withdrawals += 1
        back = 0.0
        while back < (30.0 if lateral else 12.0) and self.work.state.lead.fed > 10.0:
            self._feed(-1.0)
            back += 1.0
            now = self._see()
            if back >= 12.0 and abs(now.offset) < 2.5 and abs(now.angle) < radians(35.0):
                break
        self._turn_to(math.copysign(QUARTER_TURN if lateral else radians(60.0), -seen.offset))

    def _feed(self, millimetres):
        """Feed the lead; return whether there was any left to feed."""
        if self.work.state.lead.fed + millimetres > self.work.state.lead.properties.length:
            return False
        self.travel += abs(millimetres)
        self.work.performance.travel += abs(millimetres)
        self.work.do(e.AdvanceLead(millimetres))
        return True

    def _clock(self):
        """Where the hub says the bend points: 0 dorsal, + towards the patient's left. [rad]

        The bend itself lags behind the hub by friction and lets go when the lead moves on; chasing it would
        wind the shaft up.
        """
        return _wrapped(-self.work.state.lead.hub)

    def _turn_to(self, wanted):
        """Turn the hub until it says `wanted`."""
        for part in self._parts(_wrapped(wanted - self._clock())):
            self.work.do(e.TurnLead(-part))
        performance = self.work.performance
        performance.turns += 1
        side = 0.0 if abs(wanted) <= radians(15.0) else math.copysign(1.0, wanted)
        if side and self.last_side and side != self.last_side:
            performance.redirections += 1
        self.last_side = side or self.last_side

    def _parts(self, angle):
        """Split an angle into equal turns of a hand."""
        count = math.ceil(abs(angle) / self.habits.turn_step - 1e-9)
        return [angle / count for _ in range(count)]


def _wrapped(angle):
    return (angle + math.pi) % (2.0 * math.pi) - math.pi
