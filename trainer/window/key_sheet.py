"""The sheet of keys, made from the one table."""

from PySide6.QtCore import QRectF, Qt
from PySide6.QtWidgets import QDialog, QScrollArea, QWidget

from trainer.window import tokens as t
from trainer.window.canvas import Canvas, column, label, row
from trainer.window.controls import Button
from trainer.window.lettering import grid, say
from trainer.window.painting import key_cap, key_cap_width, write
from trainer.window.shortcuts import EVERYWHERE, SHORTCUTS

GENERAL = (
    ("Tab", "Go to the next control; Enter presses it"),
    ("Shift", "Held with a key: slow and fine"),
    ("Mouse", "Drag a picture to turn it, wheel to come nearer; wheel over the clock turns the hub"),
)


class KeyLine(Canvas):
    """A key and what it does."""

    def __init__(self, key, words):
        super().__init__(f"{key}: {words}", high=grid(32))
        self.key, self.words = key, say(words)

    def draw(self, painter, box):
        wide = key_cap_width(self.key)
        key_cap(painter, QRectF(box.left(), box.top() + 4, wide, grid(24)), self.key)
        left = grid(88)
        write(painter, QRectF(left, box.top(), box.width() - left, box.height()), self.words)


class KeySheet(QDialog):
    """All keys of a page, or of all pages where the page has none of its own."""

    def __init__(self, parent, page, *, left_handed):
        super().__init__(parent)
        self.setWindowTitle("Keys")
        pages = [page] if page in EVERYWHERE else EVERYWHERE
        parts = [KeyLine(key, words) for key, words in GENERAL]
        for name in pages:
            parts.append(label(name.capitalize(), role="title"))
            for shortcut in SHORTCUTS:
                if name in shortcut.pages:
                    key = shortcut.left_handed if left_handed else shortcut.key
                    parts.append(KeyLine(key, shortcut.words))
        inside = QWidget()
        inside.setLayout(column(*parts, None, gap=0))
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setWidget(inside)
        close = Button("Close", key="Esc", kind="main")
        close.clicked.connect(self.accept)
        hand = "left hand at the mouse" if left_handed else "right hand at the mouse"
        note = label(f"Keys for the {hand}.", ink=t.MUTED)
        self.setLayout(column((area, 1), row(note, None, close), gap=16, margin=24))
        self.resize(grid(600), grid(640))

    def keyPressEvent(self, event):
        if event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_F1):
            self.accept()
        else:
            super().keyPressEvent(event)
