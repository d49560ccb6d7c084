"""Levels counted on the picture, and the needle held to the skin."""

from dataclasses import asdict

import numpy as np
from PySide6.QtCore import Signal

from meshes.levels import COLUMN, split_interspace
from meshes.units import degrees, radians
from scenarios.card import REASONS
from trainer.attempt import events as e
from trainer.attempt.picture_events import COUNTED_FROM
from trainer.physics.needle import Needle, NeedleAim, side_sign
from trainer.physics.needle_check import check_needle
from trainer.window import state_words
from trainer.window import tokens as t
from trainer.window.canvas import label, panel, row
from trainer.window.choices import Choice
from trainer.window.column import FINE, PhaseColumn
from trainer.window.controls import Button, Segments, Stepper
from trainer.window.state_words import level_words, millimetres, sided

ENTRY_STEP, ENTRY_RATE = 1.0, 24.0  # [mm], [mm/s]
ANGLE_STEP, ANGLE_RATE = radians(1.0), radians(16.0)
# Where the hand begins: over the pedicle of the vertebra below (common practice).
START_APPROACH, START_MEDIAL, START_ACROSS = radians(35.0), radians(12.0), 22.0


class PictureColumn(PhaseColumn):
    """Marks levels and holds the needle to the skin; `aimed()` when the held needle has moved."""

    aimed = Signal()
    names, widest = state_words.PICTURE_NAMES, state_words.PICTURE_WIDEST

    def __init__(self, session, *, left_handed=False):
        super().__init__(session, "picture", left_handed=left_handed)
        levels = [level for level in COLUMN if level in session.state.anatomy.poses]
        self.level = Choice("Level", levels, chosen="L5")
        self.start = Segments("Counted from", ["Sacrum", "Lowest rib"])
        self.marks = label("None yet.", ink=t.MUTED, wrap=True)
        counting = panel(
            self.level, self.start, label("Click it on the picture.", ink=t.MUTED), self.marks,
            title="Mark levels", margin=12,
        )  # fmt: skip
        self.across = Stepper("Across", keys=(self.key("entry left"), self.key("entry right")))
        self.along = Stepper("Along", keys=(self.key("entry down"), self.key("entry up")))
        self.approach = Stepper("Approach", keys=(self.key("flatter"), self.key("steeper")))
        self.medial = Stepper("Medial", keys=(self.key("less medial"), self.key("more medial")))
        steppers = {"x": self.across, "z": self.along, "approach": self.approach, "medial": self.medial}
        for what, stepper in steppers.items():
            stepper.stepped.connect(lambda way, what=what: self.nudge(what, way))
        self.through = Button("Through the skin", key=self.key("next step"), kind="main")
        self.through.clicked.connect(self.place)
        self.hand = label("", role="strong", ink=t.MUTED)
        needle = panel(self.hand, *steppers.values(), self.through, margin=12)
        self.lay(counting, needle, row((self.more, 1), (self.undo, 1)))
        self.aim, self.active = None, 0

    def begin(self):
        """Hold the needle where a hand would begin, unless it is held already."""
        state = self.session.state
        if state.aim is not None:
            self.aim = _as_event(state)
        elif self.aim is None or self.aim.interspace != state.plan.interspace or self.active != state.active:
            self.aim = self._first_aim(state)
        self.active = state.active
        self._show_aim()

    def _first_aim(self, state):
        plan, anatomy = state.plan, state.anatomy
        below = split_interspace(plan.interspace)[1]
        middle = anatomy.poses[below].translation
        # A second needle comes from the other side, so that the leads lie side by side.
        side = plan.side if state.active == 0 else {"left": "right", "right": "left"}[plan.side]
        sign = side_sign(side)
        return e.AimNeedle(
            plan.interspace, side, float(middle[0] + sign * START_ACROSS), float(middle[2] - 30.0),
            START_APPROACH, START_MEDIAL, plan.needle_length,
        )  # fmt: skip

    def nudge(self, what, way, *, size=None):
        """Move the held needle: "x" to the right, "z" to the head, "approach" steeper, "medial"."""
        if self.aim is None:
            return
        content = asdict(self.aim)
        if what in ("x", "z"):
            name, move = f"entry_{what}", (ENTRY_STEP if size is None else size) * way
            # To the right of the picture is the patient's right, which is -x.
            content[name] += -move if what == "x" else move
        else:
            content[what] += (ANGLE_STEP if size is None else size) * way
        self.aim = e.AimNeedle(**content)
        self._show_aim()

    def move_entry(self, x, z):
        """Put the entry where the mouse points on the skin. [mm]"""
        if self.aim is not None:
            content = {**asdict(self.aim), "entry_x": float(x), "entry_z": float(z)}
            self.aim = e.AimNeedle(**content)
            self._show_aim()

    def _show_aim(self):
        aim = self.aim
        if aim is None:
            return
        self.across.show_value(sided(aim.entry_x))
        lower = split_interspace(aim.interspace)[1]
        middle = float(self.session.state.anatomy.poses[lower].translation[2])
        self.along.show_value(millimetres(aim.entry_z - middle, digits=0).replace("-", "−"))
        practice = self.session.practice
        self.approach.show_value(f"{degrees(aim.approach):.0f}°" if practice else None)
        self.medial.show_value(f"{degrees(aim.medial):.0f}°" if practice else None)
        self.aimed.emit()

    def held(self):
        """Return the NeedleCheck of the held needle, or None."""
        if self.aim is None:
            return None
        aim = NeedleAim(
            self.aim.interspace, self.aim.entry_x, self.aim.entry_z, self.aim.approach, self.aim.medial,
            side=self.aim.side,
        )  # fmt: skip
        return check_needle(self.session.state.anatomy, aim, Needle(length=self.aim.needle_length))

    def held_course(self):
        """Return the nodes (2, 3) of the held needle, its tip on the skin last, or None. [mm]"""
        check = self.held()
        if check is None:
            return None
        return np.array([check.entry - self.aim.needle_length * check.direction, check.entry])

    def hold(self):
        """Tell the attempt how the needle is held, where that has changed."""
        state = self.session.state
        same = state.aim is not None and self.aim == _as_event(state)
        return same or (self.aim is not None and self.do(self.aim))

    def place(self):
        """Through the skin with the held needle."""
        if self.aim is not None and self.hold():
            self.do(e.PlaceNeedle())

    def mark(self, u, v):
        """Mark the chosen level where the picture was clicked."""
        self.do(e.MarkLevel(self.level.chosen, float(u), float(v), COUNTED_FROM[self.start.chosen]))

    def tick(self, actions, seconds, *, fine):
        share = FINE if fine else 1.0
        ways = {
            "entry left": ("x", -1), "entry right": ("x", 1), "entry up": ("z", 1), "entry down": ("z", -1),
            "flatter": ("approach", -1), "steeper": ("approach", 1),
            "less medial": ("medial", -1), "more medial": ("medial", 1),
        }  # fmt: skip
        for action in actions & ways.keys():
            what, way = ways[action]
            step, rate = (ENTRY_STEP, ENTRY_RATE) if what in "xz" else (ANGLE_STEP, ANGLE_RATE)
            size = self.steps_of(action, seconds, step=step * share, rate=rate * share)
            if size:
                self.nudge(what, way, size=size)

    def act(self, action):
        if action == "next step":
            self.place()
        elif action == "more":
            self.more.open()
        else:
            return False
        return True

    def show_state(self, old, new):
        del old
        which = ("First", "Second")[new.active]
        self.hand.show_text(f"{which} needle to the skin")
        marks = [f"{mark.level} from the {mark.counted_from}" for mark in new.room.marks[-3:]]
        if self.session.practice:
            marks = [
                f"{mark.level} from the {mark.counted_from}: {_truth(mark)}" for mark in new.room.marks[-3:]
            ]
        self.marks.show_text("\n".join(marks) or "None yet.")

    def more_entries(self):
        reasons = _refusal_entries(self)
        leads = [
            (f"Take up the {which} lead", lambda which=which: self.do(e.TakeUpLead(which)))
            for which, one in zip(("first", "second"), self.session.state.placements, strict=True)
            if one.lead is not None
        ]
        return [
            *leads,
            ("Numb the skin", lambda: self.do(e.GiveLocalAnaesthetic(2.0, "skin"))),
            ("Light sedation", lambda: self.do(e.SetSedation("light"))),
            ("Deep sedation", lambda: self.do(e.SetSedation("deep"))),
            *reasons,
            ("Finish and debrief", lambda: self.do(e.FinishAttempt())),
        ]


def _as_event(state):
    """Return the event that holds the needle as the state says."""
    aim = state.aim
    return e.AimNeedle(
        aim.interspace, aim.side, aim.entry_x, aim.entry_z, aim.approach, aim.medial, state.needle.length
    )


def _truth(mark):
    same = mark.true_level == mark.level
    return "right" if same else f"this is {level_words(mark.true_level)}"


def _refusal_entries(column):
    return [(f"Put the case off: {reason}", lambda r=reason: column.do(e.DeferCase(r))) for reason in REASONS]
