"""An attempt in the window: strips above and below, and between them the page of the present phase."""

from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import QStackedWidget, QWidget

from trainer.attempt.state import PHASES
from trainer.window.canvas import column
from trainer.window.held_keys import HeldKeys
from trainer.window.plan_page import PlanPage
from trainer.window.prepared import prepared, prepared_for
from trainer.window.question import Question
from trainer.window.strips import ReadingStrip, TopStrip
from trainer.window.tone import Tone, can_play
from trainer.window.working_page import WORKING, WorkingPage, page_of

SAY_FOR_MS = 6000
UNWORKED = ("test", "secure")  # have no page yet
PHASE_WORDS = tuple(phase.capitalize() for phase in PHASES)


class AttemptPage(QWidget):
    """`left()` when the user goes away, `finished(path)` when the attempt is over, `keys_wanted(page)`."""

    left = Signal()
    finished = Signal(object)
    keys_wanted = Signal(str)

    def __init__(self, session, ready, *, left_handed=False, tone=False):
        super().__init__()
        self.setObjectName("ground")
        self.session = session
        state = session.state
        self.top = TopStrip(PHASE_WORDS, patient=state.scenario.title, mode=state.mode)
        self.plan = PlanPage(session, ready, left_handed=left_handed)
        self.work = WorkingPage(session, ready, left_handed=left_handed)
        self.tone = Tone() if tone and can_play() else None
        if self.tone:
            self.work.columns["needle"].felt.connect(self.tone.play)
        self.middle = QStackedWidget()
        self.middle.addWidget(self.plan)
        self.middle.addWidget(self.work)
        self.strips = {
            "plan": ReadingStrip(self.plan.names, widest=self.plan.widest),
            **{name: ReadingStrip(c.names, widest=c.widest) for name, c in self.work.columns.items()},
        }
        self.bottom = QStackedWidget()
        for strip in self.strips.values():
            self.bottom.addWidget(strip)
        self.bottom.setFixedHeight(next(iter(self.strips.values())).height())
        self.setLayout(column(self.top, (self.middle, 1), self.bottom, gap=8, margin=8))
        self.quiet = QTimer(self)
        self.quiet.setSingleShot(True)
        self.quiet.setInterval(SAY_FOR_MS)
        self.quiet.timeout.connect(lambda: self.say(""))
        self.second = QTimer(self)
        self.second.setInterval(500)
        self.second.timeout.connect(lambda: self.top.show_time(self.session.seconds()))
        self.second.start()
        self.keys = HeldKeys(self, "plan", left_handed=left_handed)
        self.keys.acted.connect(self._act)
        session.changed.connect(self.show_change)
        self.work.said.connect(self.say)
        self.work.asked.connect(self._act)
        self.plan.said.connect(self.say)
        self.plan.looked.connect(self._readings)
        if state.room.shown is not None:
            self.work.xray.show_again()
        before = range(PHASES.index(state.phase))
        self.worked = {index for index in before if PHASES[index] not in UNWORKED}
        self.shown, self.question = None, None
        self._enter(state.phase)

    def say(self, sentence):
        """Say a sentence at the right of the reading strip, for a while."""
        for strip in self.strips.values():
            strip.show_values({}, note=sentence)
        if sentence:
            self.quiet.start()

    def show_change(self, old, new):
        if new.phase == "debrief":
            now = PHASES.index("debrief")
            self.top.phases.show_phase(now, worked=self._worked(now))
            QTimer.singleShot(0, self._finish)
            return
        if new.phase != old.phase or self.work.phase not in (None, self.shown):
            self._enter(new.phase)
        self._readings()
        if new.patient.words != old.patient.words and new.patient.words:
            self.say(f"Patient: {new.patient.words.rstrip('.')}.")

    def _enter(self, phase):
        self.worked.add(PHASES.index(phase))
        self.top.phases.show_phase(PHASES.index(phase), worked=self._worked(PHASES.index(phase)))
        working = phase in WORKING
        self.keys.enabled = not working
        self.middle.setCurrentWidget(self.work if working else self.plan)
        if working:
            self.work.enter(page_of(self.session.state))
        self.shown = self.work.phase if working else None
        self.bottom.setCurrentWidget(self.strips[self.shown or "plan"])
        self._readings()

    def _readings(self):
        phase = self.session.state.phase
        if phase in WORKING:
            self.strips[self.work.phase].show_values(self.work.readings())
        elif phase == "plan":
            self.strips["plan"].show_values(self.plan.readings(), note=self.plan.missing())

    def _act(self, action):
        if action == "keys":
            self.keys_wanted.emit(self.session.state.phase)
        elif action == "back":
            self.ask_to_leave()
        elif self.session.state.phase == "plan":
            self.plan.act(action)

    def _worked(self, now):
        """Return the indices of the phases that have been worked; one resumed has those before it."""
        return {index for index in self.worked if index < now}

    def ask_to_leave(self):
        """Ask before the attempt is left; an untouched one is left at once."""
        if self.session.state.event_count == 0:
            self.left.emit()
            return
        self.work.drop_keys()
        words = "Leave the attempt? It is kept and can go on later."
        self.question = Question(self, words, stay="Stay", go="Leave")
        self.question.accepted.connect(self.left)
        self.question.open()

    def _finish(self):
        path = self.session.journal_path
        self.session.close()
        self.finished.emit(path)

    def leave(self):
        """Stop clocks, tone and graphics; the journal stays."""
        self.second.stop()
        self.keys.drop()
        self.keys.enabled = False
        self.work.leave()
        if self.tone:
            self.tone.stop()
        self.session.close()


__all__ = ["AttemptPage", "prepared", "prepared_for"]
