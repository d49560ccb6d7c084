"""The list of patients: what each teaches, how hard it is, and how to begin."""

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QScrollArea, QWidget

from scenarios import library
from trainer.window import tokens as t
from trainer.window.body_map import BodyMap
from trainer.window.canvas import column, label, panel, row
from trainer.window.cards import ListRow
from trainer.window.controls import Button, Segments
from trainer.window.lettering import grid

MODES = ("practice", "assessment")
SAID = {
    "practice": "Everything is visible: see-through body, live numbers, the wanted way in, hints. "
    "Each act can be taken back. Nothing is scored against you.",
    "assessment": "As in a room: the back, the X-ray and what the hand feels. Nothing can be taken back. "
    "Numbers and the see-through body come in the debrief. What is scored is said there with its source.",
}


class CasesPage(QWidget):
    """`begun(name, mode)` starts a case of the library; `left` goes back."""

    begun = Signal(str, str)
    left = Signal()

    def __init__(self):
        super().__init__()
        self.setObjectName("ground")
        self.cases = {name: library.load(name) for name in library.names()}
        self.rows = {}
        rows = []
        for name, case in self.cases.items():
            item = ListRow(case.title, case.teaches)
            item.clicked.connect(lambda name=name: self.choose(name))
            self.rows[name] = item
            rows.append(item)
        inside = QWidget()
        inside.setLayout(column(*rows, None, gap=4))
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setWidget(inside)
        self.mode = Segments("How", [mode.capitalize() for mode in MODES])
        self.mode.chosen_changed.connect(lambda _: self._show())
        self.said = label("", ink=t.MUTED, wrap=True)
        self.title = label("", role="title")
        self.story = label("", wrap=True)
        self.teaches = label("", ink=t.MUTED, wrap=True)
        self.map = BodyMap("Pain")
        self.begin = Button("Begin", key="Enter", kind="main")
        self.begin.clicked.connect(self._begin)
        back = Button("Back", key="Esc")
        back.clicked.connect(self.left)
        card = panel(
            self.title, self.story, self.map, self.teaches, None, self.mode, self.said, self.begin,
            wide=grid(432), margin=24, gap=12,
        )  # fmt: skip
        top = row(label("Choose a patient", role="heading"), None, back)
        self.setLayout(column(top, (row((area, 1), card, gap=16), 1), gap=16, margin=32))
        self.chosen = None
        self.choose(next(iter(self.cases)))

    def show_mode(self, mode):
        """Preselect "practice" or "assessment"."""
        self.mode.choose(MODES.index(mode))
        self._show()

    def choose(self, name):
        """Choose a case by its name."""
        self.chosen = name
        self._show()

    def _show(self):
        case = self.cases[self.chosen]
        for name, item in self.rows.items():
            item.show_chosen(name == self.chosen)
        self.title.show_text(case.title)
        self.story.show_text(case.patient)
        self.teaches.show_text(f"Teaches: {case.teaches}")
        self.map.show_areas(dict.fromkeys(case.card.pain, "pain"))
        self.said.show_text(SAID[MODES[self.mode.chosen]])

    def _begin(self):
        self.begun.emit(self.chosen, MODES[self.mode.chosen])

    def keyPressEvent(self, event):
        names = list(self.cases)
        key = event.key()
        move = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(key)
        if move:
            self.choose(names[(names.index(self.chosen) + move) % len(names)])
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._begin()
        elif key == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)
