"""The needle in the patient: what is felt, the syringe, and how the hand moves."""

from PySide6.QtCore import Signal

from meshes.units import degrees, radians
from trainer.attempt import events as e
from trainer.attempt.lead_events import STYLETS
from trainer.attempt.needle_events import MEDIA
from trainer.physics.lead_kinds import LEADS
from trainer.window import state_words
from trainer.window.canvas import label, panel, row
from trainer.window.choices import Choice
from trainer.window.column import FINE, PhaseColumn
from trainer.window.controls import Button, Segments, Stepper
from trainer.window.feel_instruments import Resistance, SyringePicture
from trainer.window.needle_words import needle_readings, resistance_of, syringe_of

STEPS = (2.0, 1.0, 0.2)  # [mm] of a tap
RATES = (14.0, 7.0, 1.5)  # [mm/s] of a held key
ANGLE_STEP, ANGLE_RATE = radians(1.0), radians(12.0)
PRESS_FORCE, PRESS_SECONDS = 10.0, 0.3  # [N], [s] of one press of the thumb (common practice)
LEAD_KINDS = tuple(f"{contacts}, {stylet}" for contacts in LEADS for stylet in STYLETS)
TIGHT = (12, 8, 12, 8)
SKIN_VOLUME, DEEP_VOLUME = 2.0, 5.0  # [ml]


class NeedleColumn(PhaseColumn):
    """Moves the needle in hand; `felt(share)` when the resistance has changed."""

    felt = Signal(float)
    names, widest = state_words.NEEDLE_NAMES, state_words.NEEDLE_WIDEST

    def __init__(self, session, *, left_handed=False):
        super().__init__(session, "needle", left_handed=left_handed)
        if not session.practice:
            self.names, self.widest = state_words.ROOM_NAMES, state_words.ROOM_WIDEST
        self.resistance = Resistance(trace=session.practice)
        self.syringe = SyringePicture()
        self.medium = Segments("Syringe", ["Saline", "Air"])
        self.press = Button("Press", key=self.key("press"))
        self.press.pressed.connect(lambda: self.press_plunger(0.0))
        self.step = Segments("Step", [f"{step:g}" for step in STEPS], chosen=1)
        self.approach = Stepper("Approach", keys=(self.key("flatter"), self.key("steeper")))
        self.medial = Stepper("Medial", keys=(self.key("less medial"), self.key("more medial")))
        self.approach.stepped.connect(lambda way: self.reangle(way * ANGLE_STEP, 0.0))
        self.medial.stepped.connect(lambda way: self.reangle(0.0, way * ANGLE_STEP))
        self.brace = Button("Brace", key=self.key("brace"))
        self.brace.clicked.connect(self.toggle_brace)
        self.stylet = Button("Stylet", key=self.key("stylet"))
        self.stylet.clicked.connect(self.toggle_stylet)
        self.forward = Button("Advance", key=self.key("advance"), kind="main")
        self.back = Button("Withdraw", key=self.key("withdraw"))
        self.next = Button("Pass lead", key=self.key("next step"))
        self.next.clicked.connect(lambda: self.do(e.PassLead()))
        self.hand = label("", role="title")
        self.kind = Choice("", LEAD_KINDS, chosen=LEAD_KINDS[0])
        self.kind.setAccessibleName("Lead: contacts and stylet")
        self.kind.setToolTip("The lead on the table: contacts and stylet")
        self.kind.chosen_changed.connect(self._choose_lead)
        self.braced, self.pressing, self.since_press = False, False, PRESS_SECONDS
        self.lay(
            row((self.hand, 1), self.undo),
            panel(self.resistance, margin=TIGHT),
            panel(self.syringe, row((self.medium, 1), self.press), margin=TIGHT, gap=6),
            panel(
                row((self.step, 1), self.brace), self.approach, self.medial,
                row((self.forward, 1), (self.back, 1)), margin=TIGHT, gap=4,
            ),
            row((self.stylet, 1), (self.next, 1)),
            row((self.kind, 1), self.more),
            gap=6,
        )  # fmt: skip

    def _choose_lead(self, kind):
        contacts, stylet = kind.split(", ")
        self.do(e.ChooseLead(float(contacts), stylet))

    def toggle_brace(self):
        """Lay the hand against the back, or take it away."""
        self.braced = not self.braced
        self.brace.show_held(self.braced)
        self.said.emit("The hand is braced." if self.braced else "The hand is free.")

    def toggle_stylet(self):
        """Stylet in or out."""
        self.do(e.MoveNeedleStylet(not self.session.state.placement.inside.stylet_inside))

    def reangle(self, approach, medial, *, joined=False):
        """Turn the needle about the skin by two angles. [rad]"""
        aim = self.session.state.aim
        self.do(e.ReangleNeedle(aim.approach + approach, aim.medial + medial), joined=joined)

    def press_plunger(self, seconds):
        """Press while held: one event each third of a second."""
        self.since_press += seconds
        if seconds == 0.0 or self.since_press >= PRESS_SECONDS:
            self.since_press = 0.0
            press = e.PressSyringe(MEDIA[self.medium.chosen], PRESS_FORCE, PRESS_SECONDS)
            self.do(press, joined=seconds > 0.0)

    def move(self, millimetres, *, joined=False):
        """Push the needle, under pressure while the plunger is pressed; negative pulls it back."""
        if millimetres > 0.0:
            grip = "braced" if self.braced else "steady"
            push = e.PushNeedle(millimetres, grip)
            if self.pressing:
                push = e.PushUnderPressure(millimetres, MEDIA[self.medium.chosen], PRESS_FORCE, grip)
            self.do(push, joined=joined)
            return
        depth = self.session.state.needle_depth or 0.0
        if depth + millimetres > 0.0:
            self.do(e.WithdrawNeedle(-millimetres), joined=joined)
        else:
            self.said.emit("The tip is at the skin. Remove the needle with More.")

    def tick(self, actions, seconds, *, fine):
        share = FINE if fine else 1.0
        self.pressing = "press" in actions
        size, rate = STEPS[self.step.chosen], RATES[self.step.chosen]
        for action, sign in (("advance", 1.0), ("withdraw", -1.0)):
            if action in actions:
                way = self.steps_of(action, seconds, step=size * share, rate=rate * share)
                if way:
                    self.move(sign * way, joined=self.age[action] > 0.0)
        turns = {"flatter": (-1, 0), "steeper": (1, 0), "less medial": (0, -1), "more medial": (0, 1)}
        for action in actions & turns.keys():
            angle = self.steps_of(action, seconds, step=ANGLE_STEP * share, rate=ANGLE_RATE * share)
            if angle:
                approach, medial = turns[action]
                self.reangle(approach * angle, medial * angle, joined=self.age[action] > 0.0)
        if self.pressing and "advance" not in actions:
            self.press_plunger(seconds if "press" in self.age else 0.0)
            self.age["press"] = 0.0

    def let_go(self):
        super().let_go()
        self.pressing = False
        self.show_plunger(pressed=False)

    def act(self, action):
        acts = {
            "step": lambda: self.step.choose((self.step.chosen + 1) % len(STEPS)),
            "brace": self.toggle_brace,
            "stylet": self.toggle_stylet,
            "bevel": lambda: self.do(e.TurnBevel(radians(90.0))),
            "next step": lambda: self.do(e.PassLead()),
            "more": self.more.open,
        }
        if action in acts:
            acts[action]()
        return action in acts

    def show_state(self, old, new):
        if new.needle_depth is None:
            self.resistance.clear()
            return
        share = resistance_of(new)
        self.resistance.show_feel(share, depth=new.needle_depth)
        self.felt.emit(share)
        practice = self.session.practice
        self.approach.show_value(f"{degrees(new.aim.approach):.0f}°" if practice else None)
        self.medial.show_value(f"{degrees(new.aim.medial):.0f}°" if practice else None)
        self.hand.show_text(state_words.hand_words(new, "needle"))
        self.kind.choose(f"{new.placement.contacts}, {new.placement.stylet}", tell=False)
        inside = new.placement.inside.stylet_inside
        self.stylet.show_text("Stylet out" if inside else "Stylet in")
        pressed = old is not None and new.placement.syringe is not old.placement.syringe
        self.show_plunger(pressed=pressed)

    def show_plunger(self, *, pressed):
        """Show the syringe as the last press left it."""
        share, word = syringe_of(self.session.state)
        self.syringe.show_plunger(share, word, medium=MEDIA[self.medium.chosen], pressed=pressed)

    def readings(self):
        """Return the readings of the strip."""
        if not self.session.practice:
            return state_words.room_readings(self.session.state)
        return needle_readings(self.session.state)

    def more_entries(self):
        entries = [
            ("Turn the bevel by a quarter", lambda: self.do(e.TurnBevel(radians(90.0)))),
            ("Numb the skin", lambda: self.do(e.GiveLocalAnaesthetic(SKIN_VOLUME, "skin"))),
            ("Numb the way to the bone", lambda: self.do(e.GiveLocalAnaesthetic(DEEP_VOLUME, "deep"))),
            ("Ask the patient", lambda: self.do(e.AskPatient())),
            ("Remove the needle", lambda: self.do(e.RemoveNeedle())),
        ]
        if any(one.lead is not None for one in self.session.state.placements):
            entries.append(("Take up the first lead", lambda: self.do(e.TakeUpLead("first"))))
        return [*entries, ("Finish and debrief", lambda: self.do(e.FinishAttempt()))]
