"""The first page: what to do, what was stopped, what was done last, and the caution."""

from pathlib import Path

from PySide6.QtCore import QPointF, QRectF, Signal
from PySide6.QtGui import QPainterPath
from PySide6.QtWidgets import QWidget

from trainer.window import tokens as t
from trainer.window.attempt_files import day_words, listed, scores_of
from trainer.window.canvas import Canvas, Rule, column, label, panel, row
from trainer.window.cards import ListRow, PictureCard
from trainer.window.controls import Button
from trainer.window.lettering import grid
from trainer.window.painting import fill, stroke

PICTURES = Path(__file__).parent / "pictures"
CAUTION = "For teaching only. Never plan or treat a patient with it; work under licensed supervision."
LAST_SHOWN = 4


class Sign(Canvas):
    """The sign of the program: a needle with a lead coming out of it."""

    def __init__(self):
        super().__init__("", wide=grid(48), high=grid(48))

    def draw(self, painter, box):
        size = box.width() / 48.0
        painter.scale(size, size)
        stroke(painter, t.NEEDLE, width=3)
        painter.drawLine(QPointF(44, 40), QPointF(27, 28))
        course = QPainterPath(QPointF(27, 28))
        course.cubicTo(QPointF(18, 22), QPointF(14, 18), QPointF(14, 6))
        stroke(painter, t.LEAD, width=2)
        painter.drawPath(course)
        fill(painter, t.LEAD)
        for y in (2, 11):
            painter.drawRoundedRect(QRectF(11, y, 6, 7), 3, 3)


class StartPage(QWidget):
    """Signals what was chosen: "practise", "keys"; `resumed` and `opened` carry the path of a journal."""

    chosen = Signal(str)
    resumed = Signal(object)
    opened = Signal(object)

    def __init__(self):
        super().__init__()
        self.setObjectName("ground")
        keys = Button("Keys", key="F1", kind="quiet")
        keys.clicked.connect(lambda: self.chosen.emit("keys"))
        settings = Button("Text and hands", kind="quiet")
        settings.clicked.connect(lambda: self.chosen.emit("settings"))
        title = column(
            label("Lead placement trainer", role="heading"),
            label("Practise the needle, the lead and the picture, as often as you like.", role="lead in"),
            gap=4,
        )
        top = row(Sign(), title, None, settings, keys, gap=16)
        self.cards = {
            "practise": PictureCard(
                "Practise",
                "Choose a patient and work with everything visible.",
                key="1",
                picture=PICTURES / "practise.png",
            ),
            "assess": PictureCard(
                "Be assessed",
                "The same patients as in a room: the back, the X-ray and what the hand feels.",
                key="2",
                picture=PICTURES / "assess.png",
            ),
        }
        for name, card in self.cards.items():
            card.clicked.connect(lambda name=name: self.chosen.emit(name))
        self.side = column(gap=8, margin=0)
        side = panel(self.side, wide=grid(376), margin=24)
        middle = row(*((card, 1) for card in self.cards.values()), side, gap=16)
        foot = row(
            label(CAUTION, ink=t.MUTED), None, label("Figures come with their source.", ink=t.MUTED), gap=16
        )
        self.setLayout(column(top, (middle, 1), foot, gap=24, margin=32))
        self.go_on = None
        self.refresh()

    def refresh(self):
        """Read the journals again."""
        while self.side.count():
            taken = self.side.takeAt(0)
            if taken.widget():
                taken.widget().deleteLater()
        found = listed()
        stopped = [one for one in found if not one.finished and one.events]
        done = [one for one in found if one.finished][:LAST_SHOWN]
        self.go_on = None
        if stopped:
            self._show_stopped(stopped[0])
        self.side.addWidget(label("Last attempts", role="strong", ink=t.MUTED))
        scores = scores_of([one.path for one in done])
        for one in done:
            kind, figure = scores.get(one.path, (None, ""))
            when = f"{one.mode.capitalize()}, {day_words(one.changed)}"
            item = ListRow(one.title, when, kind=kind, figure=figure)
            item.clicked.connect(lambda one=one: self.opened.emit(one.path))
            self.side.addWidget(item)
        if not done:
            self.side.addWidget(label("None yet on this machine.", ink=t.MUTED))
        self.side.addStretch(1)

    def _show_stopped(self, one):
        self.side.addWidget(label("Stopped before the end", role="strong"))
        minutes = f"{one.title}. {one.seconds / 60:.0f} minutes in."
        self.side.addWidget(label(minutes, ink=t.MUTED, wrap=True))
        self.go_on = Button("Go on with it", key="Enter", kind="main")
        self.go_on.clicked.connect(lambda: self.resumed.emit(one.path))
        self.side.addWidget(self.go_on)
        self.side.addWidget(Rule())
        self.go_on.setFocus()

    def keyPressEvent(self, event):
        name = {"1": "practise", "2": "assess"}.get(event.text())
        if name:
            self.chosen.emit(name)
        else:
            super().keyPressEvent(event)
