"""The lead in the canal: the hub, the push, the stylet, and what follows."""

import numpy as np

from meshes.units import radians
from trainer.attempt import events as e
from trainer.attempt.lead_events import STYLETS
from trainer.physics.readings import read_lead
from trainer.window import state_words
from trainer.window.canvas import label, panel, row
from trainer.window.column import FINE, PhaseColumn
from trainer.window.controls import Button, Segments
from trainer.window.feel_instruments import PushBar
from trainer.window.hub_clock import HubClock
from trainer.window.lettering import grid

STEP, RATE = 1.0, 14.0  # [mm], [mm/s]
TURN_STEP, TURN_RATE = radians(5.0), radians(90.0)
SALINE = 2.0  # [ml]
SECTION_POINTS = 48
SLIDES, STOP = 0.35, 1.0  # [N] up to which a push is said to slide; from which to stop (assumed)


class LeadColumn(PhaseColumn):
    """Feeds and turns the lead in hand."""

    names, widest = state_words.LEAD_NAMES, state_words.LEAD_WIDEST

    def __init__(self, session, *, left_handed=False):
        super().__init__(session, "lead", left_handed=left_handed)
        if not session.practice:
            self.names, self.widest = state_words.ROOM_NAMES, state_words.ROOM_WIDEST
        self.clock = HubClock(keys=(self.key("turn left"), self.key("turn right")))
        self.clock.turned.connect(lambda angle: self.turn(angle, joined=True))
        self.clock.setFixedHeight(grid(208))
        self.push = PushBar(numbers=session.practice)
        self.stylet = Segments("Stylet", [name.capitalize() for name in STYLETS])
        self.stylet.chosen_changed.connect(lambda index: self.do(e.ChangeStylet(STYLETS[index])))
        self.forward = Button("Advance", key=self.key("advance"), kind="main")
        self.back = Button("Withdraw", key=self.key("withdraw"))
        self.saline = Button("Saline 2\u00a0ml", key=self.key("saline"))
        self.saline.clicked.connect(lambda: self.do(e.InjectSaline(SALINE)))
        self.next = Button("Go on", key=self.key("next step"))
        self.next.clicked.connect(self.more.open)
        self.more.hide()
        self.hand = label("", role="title")
        self.lay(
            row((self.hand, 1), self.undo),
            panel(self.clock, margin=(12, 4, 12, 4), gap=0),
            panel(self.push, margin=12),
            panel(self.stylet, self.forward, self.back, self.saline, margin=12, gap=6),
            self.next,
            gap=6,
        )

    def turn(self, angle, *, joined=False):
        """Turn the hub, clockwise positive. [rad]"""
        self.do(e.TurnLead(float(angle)), joined=joined)

    def tick(self, actions, seconds, *, fine):
        share = FINE if fine else 1.0
        for action, sign in (("advance", 1.0), ("withdraw", -1.0)):
            if action in actions:
                way = self.steps_of(action, seconds, step=STEP * share, rate=RATE * share)
                if way:
                    self.do(e.AdvanceLead(sign * way), joined=self.age[action] > 0.0)
        for action, sign in (("turn right", 1.0), ("turn left", -1.0)):
            if action in actions:
                angle = self.steps_of(action, seconds, step=TURN_STEP * share, rate=TURN_RATE * share)
                if angle:
                    self.turn(sign * angle, joined=self.age[action] > 0.0)

    def act(self, action):
        acts = {
            "stylet": lambda: self.stylet.choose(1 - (self.stylet.chosen or 0)),
            "saline": lambda: self.do(e.InjectSaline(SALINE)),
            "next step": self.more.open,
            "more": self.more.open,
        }
        if action in acts:
            acts[action]()
        return action in acts

    def show_state(self, old, new):
        del old
        if new.lead is None:
            return
        if new.placement.stylet in STYLETS:
            self.stylet.choose(STYLETS.index(new.placement.stylet), tell=False)
        self.hand.show_text(state_words.hand_words(new, "lead"))
        reading = read_lead(new.lead, new.anatomy)
        tip = -reading.bend_angle if self.session.practice else None
        section = self._section(new, reading.tip.station) if self.session.practice else None
        self.clock.show_hub(reading.clock_angle, tip=tip, section=section)
        push = new.lead.push
        word = "slides" if push < SLIDES else "firm" if push < STOP else "stuck"
        self.push.show_push(push, word)

    @staticmethod
    def _section(state, station):
        """Return outlines of wall and dura about the lead's tip for the clock, largest radius 1."""
        theta = np.linspace(-np.pi, np.pi, SECTION_POINTS, endpoint=False)
        _, wall, dura, _ = state.anatomy.canal.radii(np.full(SECTION_POINTS, station), theta)
        # theta counts to the patient's left, which stands on the left of the clock.
        around = np.stack([-np.sin(theta), np.cos(theta)], axis=-1)
        largest = float(np.max(wall))
        return tuple(around * (np.asarray(radius)[:, None] / largest) for radius in (wall, dura))

    def readings(self):
        """Return the readings of the strip."""
        if not self.session.practice:
            return state_words.room_readings(self.session.state)
        turns = state_words.stretches_of(self.session.attempt.events, e.TurnLead)
        return {**state_words.lead_readings(self.session.state), "Turns so far": str(turns)}

    def more_entries(self):
        state = self.session.state
        other = "second" if state.active == 0 else "first"
        entries = []
        if state.placements[1 - state.active].lead is not None:
            entries.append((f"Take up the {other} lead", lambda: self.do(e.TakeUpLead(other))))
        else:
            entries.append((f"Hold the {other} needle to the skin", lambda: self.do(e.TakeUpNeedle(other))))
        entries.append(("Pull the lead out", lambda: self.do(e.RemoveLead())))
        entries.append(("Ask the patient", lambda: self.do(e.AskPatient())))
        return [*entries, ("Finish and debrief", lambda: self.do(e.FinishAttempt()))]
