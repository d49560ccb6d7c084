"""What has gone wrong, and what may be done about it: over the controls until one is chosen."""

import math

from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QFontMetrics

from trainer.attempt import events as e
from trainer.physics import needle_consequences as consequences
from trainer.window import state_words
from trainer.window import tokens as t
from trainer.window.canvas import column, label, panel, row
from trainer.window.column import PhaseColumn
from trainer.window.controls import Pressable
from trainer.window.lettering import font, grid, say
from trainer.window.needle_words import needle_readings
from trainer.window.painting import LEFT, fill, key_cap, key_cap_width, write

HAPPENED = {
    consequences.PUNCTURE: "Clear fluid: the needle has opened the dura.",
    consequences.INTRATHECAL: "Clear fluid: the opening lies in the sac.",
    consequences.SUBDURAL: "The tip lies between dura and arachnoid.",
    consequences.CORD_TOUCHED: "The needle has touched the spinal cord.",
    consequences.ROOT_TOUCHED: "The patient feels it in the leg: a nerve root was touched.",
    consequences.BLEEDING: "Blood comes back through the needle.",
    consequences.HARD_BONE: "The needle presses hard on bone.",
    consequences.LEAD_IN_SAC: "Clear fluid beside the lead: it lies in the sac.",
}
MOST = 5


def open_complication(state):
    """Return the last complication that shows and has not been answered, or None.

    The attempt answers its last open one; one that does not show is never asked about.
    """
    still_open = [one for one in state.complications if not one.choice]
    return still_open[-1] if still_open and still_open[-1].seen else None


class Answer(Pressable):
    """One thing that can be done next, on as many lines as it needs, with its key."""

    def __init__(self, text, *, key, wide):
        super().__init__(text)
        self.text, self.key = say(text), key
        self.setAccessibleDescription(f"Key: {key}")
        self.room = math.floor(wide - 32 - key_cap_width(key))
        lines = QFontMetrics(font("strong")).boundingRect(
            QRect(0, 0, self.room, 1000), int(LEFT) | int(Qt.TextFlag.TextWordWrap), self.text
        )
        self.setFixedHeight(max(grid(t.CONTROL), lines.height() + 16))

    def draw(self, painter, box):
        box = box.adjusted(1, 1, -1, -1)
        fill(painter, self.ground())
        painter.drawRoundedRect(box, t.RADIUS, t.RADIUS)
        self.focus_line(painter, box)
        words = QRectF(box.left() + 12, box.top(), self.room, box.height())
        write(painter, words, self.text, role="strong", wrap=True)
        wide, high = key_cap_width(self.key), grid(24)
        cap = QRectF(box.right() - 10 - wide, box.center().y() - high / 2, wide, high)
        key_cap(painter, cap, self.key)


class WhatNextColumn(PhaseColumn):
    """Tells the open complication and holds its choices."""

    names, widest = state_words.NEEDLE_NAMES, state_words.NEEDLE_WIDEST

    def __init__(self, session, *, left_handed=False):
        super().__init__(session, "what next", left_handed=left_handed)
        if not session.practice:
            self.names, self.widest = state_words.ROOM_NAMES, state_words.ROOM_WIDEST
        self.happened = label("", role="title", wrap=True)
        self.ask = label("What do you do now?", role="strong", ink=t.MUTED)
        self.note = label(
            "The answer is judged in the debrief. Pictures can be taken first.", ink=t.MUTED, wrap=True
        )
        self.answers, self.kind = [], None
        self.room = column(gap=8)
        self.lay(panel(self.happened, self.ask, self.room, self.note, margin=12, gap=12))
        self.layout().addLayout(row((self.more, 1), (self.undo, 1)))

    def show_state(self, old, new):
        del old
        found = open_complication(new)
        if found is None or found.kind == self.kind:
            return
        self.kind = found.kind
        self.happened.show_text(HAPPENED[found.kind])
        for answer in self.answers:
            self.room.removeWidget(answer)
            answer.deleteLater()
        self.answers = []
        for number, choice in enumerate(consequences.CHOICES[found.kind]):
            key = self.key(f"answer {number + 1}")
            answer = Answer(choice.words, key=key, wide=self.width() - 24)
            answer.clicked.connect(lambda key=choice.key: self.answer(key))
            self.room.addWidget(answer)
            self.answers.append(answer)

    def act(self, action):
        numbers = {f"answer {number + 1}": number for number in range(MOST)}
        if action == "more":
            self.more.open()
            return True
        if action not in numbers:
            return False
        if numbers[action] < len(self.answers):
            self.answer(consequences.CHOICES[self.kind][numbers[action]].key)
        return True

    def answer(self, key):
        """Answer the open complication, and with it those of the same act that offer the same choices."""
        offered = consequences.CHOICES[self.kind]
        while self.do(e.ChooseAfterComplication(key)):
            left = open_complication(self.session.state)
            if left is None or consequences.CHOICES[left.kind] is not offered:
                break

    def more_entries(self):
        return [
            ("Ask the patient", lambda: self.do(e.AskPatient())),
            ("Finish and debrief", lambda: self.do(e.FinishAttempt())),
        ]

    def readings(self):
        """Return the readings of the strip."""
        if not self.session.practice:
            return state_words.room_readings(self.session.state)
        return needle_readings(self.session.state)
