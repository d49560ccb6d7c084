"""Text size, the hand that holds the mouse, and the tone."""

from dataclasses import replace

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLineEdit, QWidget

from trainer.records.tables import check_pseudonym
from trainer.window import tokens as t
from trainer.window.canvas import column, label, panel, row
from trainer.window.choices import Tick
from trainer.window.controls import Button, Segments
from trainer.window.lettering import grid
from trainer.window.settings import TEXT_SIZES
from trainer.window.tone import can_play


class SettingsPage(QWidget):
    """`changed(Settings)` after each choice; `left` goes back."""

    changed = Signal(object)
    left = Signal()

    def __init__(self, settings):
        super().__init__()
        self.setObjectName("ground")
        self.settings = settings
        self.size = Segments(
            "Text size",
            [size.capitalize() for size in TEXT_SIZES],
            chosen=TEXT_SIZES.index(settings.text_size),
        )
        self.size.chosen_changed.connect(lambda index: self._change(text_size=TEXT_SIZES[index]))
        self.hand = Tick("The mouse lies in my left hand", done=settings.left_handed)
        self.hand.toggled.connect(lambda done: self._change(left_handed=done))
        self.tone = Tick(
            "Let me hear the resistance", done=settings.tone, note="Needs a loudspeaker and the extra sound."
        )
        self.tone.toggled.connect(lambda done: self._change(tone=done))
        self.tone.setEnabled(can_play())
        self.code = QLineEdit(settings.code)
        self.code.setAccessibleName("Your code")
        self.code.setMaxLength(39)
        self.code.textEdited.connect(self._change_code)
        self.told = label("", ink=t.MUTED, wrap=True)
        back = Button("Back", key="Esc")
        back.clicked.connect(self.left)
        note = label("The text size counts from the next start of the program.", ink=t.MUTED, wrap=True)
        box = panel(
            label("Your code", role="strong"), self.code, self.told,
            label("Text size", role="strong"), self.size, note, self.hand, self.tone,
            wide=grid(520), margin=24, gap=16,
        )  # fmt: skip
        top = row(label("Text and hands", role="heading"), None, back)
        self.setLayout(column(top, row(box, None), None, gap=24, margin=32))

    def _change_code(self, text):
        try:
            code = check_pseudonym(text)
        except ValueError as error:
            self.told.show_text(f"{str(error).capitalize()}.")
        else:
            self.told.show_text("No real name: attempts are kept under this code.")
            self._change(code=code)

    def _change(self, **choice):
        self.settings = replace(self.settings, **choice)
        self.changed.emit(self.settings)

    def keyPressEvent(self, event):
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)
