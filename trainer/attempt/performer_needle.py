"""How a performer sites a needle: plans, aims, advances to the loss of resistance, passes the lead."""

from meshes.units import degrees, radians
from trainer.attempt import events as e
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle
from trainer.physics.needle_check import check_needle
from trainer.physics.plan import NoCorridorError, plan_needle

NEAR_FLAVUM = 5.0  # from where on small steps are made [mm]
LONGEST_PUSH = 10.0  # [mm]
TRIAL = 0.5  # of saline [ml]
MEDIALS_DEG = (15.0, 10.0, 20.0, 5.0, 0.0, 25.0)
STEEP_DOWN_TO_DEG = 50.0


class NeedleWork:
    """One needle of one performance."""

    def __init__(self, work, side):
        self.work, self.side, self.habits = work, side, work.habits

    def site(self):
        """Bring the needle's mouth into the epidural space and the lead to the mouth; re-site an old one.

        Raises
        ------
        NoCorridorError
            If no needle on the table has a way.
        """
        work = self.work
        if work.state.phase == "lead":
            work.do(e.RemoveLead())
        if work.state.needle_depth is not None:
            work.do(e.RemoveNeedle())
        work.progress(0, 1, "planning the needle")
        self._aim()
        work.performance.needles += 1
        work.do(e.GiveLocalAnaesthetic(5.0))
        work.do(e.PlaceNeedle())
        self._advance()
        if self.habits.looks_sideways:
            work.room.look(work.interspace, view="lateral")
        work.do(e.PassLead())

    def _aim(self):
        longest = Needle(length=max(self.work.task.needle_lengths_mm))
        aim = self._planned(longest)
        check = check_needle(self.work.attempt.anatomy, aim, longest)
        wanted = check.to_epidural + self.habits.spare_needle
        fitting = [length for length in self.work.task.needle_lengths_mm if length >= wanted]
        length = fitting[0] if fitting else longest.length
        self.work.do(
            e.AimNeedle(aim.interspace, aim.side, aim.entry_x, aim.entry_z, aim.approach, aim.medial, length)
        )

    def _planned(self, needle):
        habits, work = self.habits, self.work
        if habits.approach is None and habits.needle_offset is None:
            return plan_needle(
                work.attempt.anatomy,
                work.interspace,
                side=self.side,
                needle=needle,
                largest_approach=radians(work.task.largest_approach_deg),
                rng=work.planning,
            ).aim
        return self._faulty(needle)

    def _faulty(self, needle):
        """Return the first aim with the fault that reaches the canal at all."""
        habits, anatomy = self.habits, self.work.attempt.anatomy
        steepest = habits.approach or radians(self.work.task.largest_approach_deg)
        offset = 3.0 if habits.needle_offset is None else habits.needle_offset
        for approach in range(round(degrees(steepest)), 24, -2):
            for medial in MEDIALS_DEG:
                for off in (offset, offset - 1.0, offset - 2.0):
                    aim = _aimed(anatomy, self.work.interspace, self.side, approach, medial, off)
                    if aim is not None and check_needle(anatomy, aim, needle).reaches:
                        return aim
        raise NoCorridorError(
            f"interspace must leave a way for the needle, got none at {self.work.interspace}: choose another"
        )

    def _advance(self):
        """Go down in long pushes, then in small steps with the syringe until resistance is lost."""
        check, work = self.work.state.check, self.work
        self._push_to(check.to_flavum - NEAR_FLAVUM, LONGEST_PUSH)
        if self.habits.looks_sideways:
            work.room.look(work.interspace, view="oblique", side=self.side)
        self._stylet_out()
        while work.state.needle_depth < check.to_epidural and work.state.placement.touched_bone is None:
            work.do(e.PushNeedle(self.habits.needle_step, self.habits.braced))
            self._try_resistance()
        travel = check.safe_travel if check.safe_travel is not None else 2.0 * self.habits.reach
        past = min(self.habits.reach, self.habits.reach_share * travel) + self.habits.overshoot
        past = min(past, 0.8 * travel)
        self._push_to(check.to_epidural + past, self.habits.needle_step)

    def _push_to(self, depth, step):
        while (left := depth - self.work.state.needle_depth) > 1e-9:
            self.work.do(e.PushNeedle(min(left, step), self.habits.braced))
            if self.work.state.placement.touched_bone is not None:
                return

    def _stylet_out(self):
        if self.habits.checks_resistance:
            self.work.do(e.MoveNeedleStylet(False))

    def _try_resistance(self):
        if self.habits.checks_resistance:
            self.work.do(e.PressSyringe("saline", TRIAL))


def _aimed(anatomy, interspace, side, approach, medial, offset):
    """Return the NeedleAim at these angles [deg], or None where no entry of the back leads there."""
    try:
        return aim_at_target(
            anatomy,
            interspace,
            side=side,
            approach=radians(float(approach)),
            medial=radians(medial),
            target_offset=offset,
        )
    except ValueError:
        return None
