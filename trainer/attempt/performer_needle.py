"""How a performer sites a needle: plans, aims, advances to the loss of resistance, passes the lead."""

from meshes.tables.loader import number
from meshes.units import degrees, radians
from trainer.attempt import events as e
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_consequences import CHOICES
from trainer.physics.plan import NoCorridorError, plan_needle

NEAR_FLAVUM = 5.0  # from where on small steps are made [mm]
LONGEST_PUSH = 10.0  # [mm]
MOST_STEPS = 60
MEDIALS_DEG = (15.0, 10.0, 20.0, 5.0, 0.0, 25.0)


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
        work.do(e.GiveLocalAnaesthetic(5.0, "deep"))
        work.do(e.PlaceNeedle())
        self._advance()
        if work.state.phase != "needle":
            return
        self._after_trouble()
        if not self._arrived():
            return
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
        work, habits = self.work, self.habits
        self._push_to(self._flavum() - NEAR_FLAVUM, LONGEST_PUSH)
        if habits.looks_sideways:
            work.room.look(work.interspace, view="oblique", side=self.side)
        if habits.checks_resistance:
            work.do(e.MoveNeedleStylet(False))
        for _ in range(MOST_STEPS):
            if self._arrived() or self._stopped():
                break
            work.do(e.PushNeedle(self._room_for(habits.needle_step), habits.grip))
            if habits.checks_resistance and work.state.phase == "needle":
                work.do(e.PressSyringe("saline", number("syringe", "thumb"), number("syringe", "tap")))
        if habits.overshoot and self._arrived():
            work.do(e.PushNeedle(self._room_for(habits.overshoot), habits.grip))

    def _flavum(self):
        placement = self.work.state.placement
        return placement.to_flavum if placement.to_flavum is not None else placement.to_epidural

    def _arrived(self):
        """Return whether the opening lies in the space: resistance is lost, and the picture agrees."""
        placement = self.work.state.placement
        return placement.inside is not None and placement.inside.in_epidural_space

    def _stopped(self):
        """Return whether bone, the hub, or something worse stands against going on."""
        inside = self.work.state.placement.inside
        over = self.work.state.phase != "needle" or inside is None
        return over or inside.bone is not None or inside.dura == "punctured" or inside.outside < 1.0

    def _room_for(self, step):
        return max(min(step, self.work.state.placement.inside.outside - 0.5), 0.05)

    def _push_to(self, depth, step):
        """Push the hand until the tip is there; it lags behind the hand in tough tissue."""
        for _ in range(MOST_STEPS):
            left = depth - self.work.state.needle_depth
            if left <= 0.2 or self._stopped():
                return
            self.work.do(e.PushNeedle(self._room_for(min(left, step)), self.habits.grip))

    def _after_trouble(self):
        """Say what is done about every complication that is open, and take the needle out."""
        work = self.work
        while any(not found.choice for found in work.state.complications):
            last = [found for found in work.state.complications if not found.choice][-1]
            work.do(e.ChooseAfterComplication(_best_choice(last.kind)))


def _best_choice(kind):
    """Return the choice that leaves the task possible and is not wrong."""
    keys = [choice.key for choice in CHOICES[kind] if choice.rating in ("good", "possible")]
    return "same level" if "same level" in keys else keys[0]


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
