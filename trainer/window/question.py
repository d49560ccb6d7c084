"""A question with two answers, in the look of the window; Esc is the safe one."""

from PySide6.QtWidgets import QDialog

from trainer.window.canvas import column, label, row
from trainer.window.controls import Button
from trainer.window.lettering import grid


class Question(QDialog):
    """`accepted` when the second answer is given, `rejected` on the first or Esc.

    Parameters
    ----------
    words : str
    stay, go : str
        The answers; the first one has the focus.
    """

    def __init__(self, parent, words, *, stay, go):
        super().__init__(parent)
        self.setWindowTitle(words.split("?")[0] + "?")
        self.stay = Button(stay, key="Esc", kind="main")
        self.go = Button(go)
        self.stay.clicked.connect(self.reject)
        self.go.clicked.connect(self.accept)
        text = label(words, role="lead in", wrap=True)
        self.setLayout(column(text, row(None, self.go, self.stay), gap=24, margin=24))
        self.setMinimumWidth(grid(440))
        self.stay.setFocus()
