"""The strips of a page: phases as contacts on a thread, readings below, a chip for the mode."""

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainterPath
from PySide6.QtWidgets import QFrame

from trainer.window import tokens as t
from trainer.window.canvas import Canvas, label, row
from trainer.window.lettering import CHOSEN, grid, say, shortened, text_width
from trainer.window.painting import CENTRE, colour, fill, stroke, verdict, write

WIDEST = 720
NOTE_WIDTH = 280


class PhaseStrip(Canvas):
    """The phases drawn as a lead: passed contacts solid, the present one lit, the rest in outline.

    `looked_at` carries the index of a passed phase that was clicked.
    """

    looked_at = Signal(int)

    def __init__(self, phases, *, now=0):
        super().__init__("Phases", high=grid(t.TOP_STRIP))
        self.phases, self.now, self.worked = tuple(phases), now, frozenset(range(now))
        self._tell()

    def _tell(self):
        self.setAccessibleDescription(f"{self.phases[self.now]}, {self.now + 1} of {len(self.phases)}")

    def show_phase(self, now, *, worked=None):
        """Light a phase; `worked` holds the indices of those passed, all before it where None."""
        worked = frozenset(range(now) if worked is None else worked)
        if (now, worked) != (self.now, self.worked):
            self.now, self.worked = now, worked
            self._tell()
            self.update()

    def minimumSizeHint(self):
        wide = sum(self._needed()) + 8 * (len(self.phases) - 1)
        return QSize(math.ceil(wide), self.height())

    def _needed(self):
        # Bold is wider: the strip must not move when the phase does.
        return [max(grid(40), text_width(say(word), "strong", weight=700) + 12) for word in self.phases]

    def _cells(self, box):
        needed = self._needed()
        gap = max(4.0, (min(box.width(), grid(WIDEST)) - sum(needed)) / max(1, len(needed) - 1))
        left = box.center().x() - (sum(needed) + gap * (len(needed) - 1)) / 2
        for need in needed:
            yield QRectF(left, box.top(), need, box.height())
            left += need + gap

    def mouseReleaseEvent(self, event):
        for index, cell in enumerate(self._cells(QRectF(self.rect()))):
            if cell.contains(event.position()) and index in self.worked:
                self.looked_at.emit(index)

    def draw(self, painter, box):
        cells = list(self._cells(box))
        y = box.bottom() - grid(16) + 4
        stroke(painter, t.LINE)
        painter.drawLine(QPointF(cells[0].left(), y), QPointF(cells[-1].right(), y))
        for index, (word, cell) in enumerate(zip(self.phases, cells, strict=True)):
            contact = QRectF(cell.left(), y - 4, cell.width(), 8)
            passed = index in self.worked and index != self.now
            fill(painter, t.MUTED if passed else t.ACT if index == self.now else t.PANEL)
            painter.drawRoundedRect(contact, 4, 4)
            if index != self.now and not passed:
                stroke(painter, t.EDGE, width=1.2)
                painter.drawRoundedRect(contact.adjusted(0.5, 0.5, -0.5, -0.5), 4, 4)
            name = QRectF(cell.left() - 6, box.top() + 4, cell.width() + 12, y - box.top() - 12)
            weight, ink = (700, t.CHALK) if index == self.now else (400, t.CHALK if passed else t.MUTED)
            write(painter, name, say(word), role="strong", weight=weight, ink=ink, align=CENTRE)


class ModeChip(Canvas):
    """An open eye for practice, a marked sheet for assessment, with the word."""

    def __init__(self, mode):
        super().__init__("Mode", high=grid(32))
        self.mode, self.text = mode, say(mode.capitalize())
        self.setAccessibleDescription(mode)
        self.setFixedWidth(math.ceil(text_width(self.text, "strong")) + 46)

    def draw(self, painter, box):
        box = box.adjusted(1, 1, -1, -1)
        fill(painter, t.RAISED)
        painter.drawRoundedRect(box, box.height() / 2, box.height() / 2)
        centre = QPointF(box.left() + 20, box.center().y())
        (_draw_eye if self.mode == "practice" else _draw_sheet)(painter, centre)
        words = QRectF(box.left() + 34, box.top(), box.right() - box.left() - 34, box.height())
        write(painter, words, self.text, role="strong")


def _draw_eye(painter, centre):
    stroke(painter, t.ACT, width=1.8)
    lid = QPainterPath(centre + QPointF(-8, 0))
    lid.quadTo(centre + QPointF(0, -9), centre + QPointF(8, 0))
    lid.quadTo(centre + QPointF(0, 9), centre + QPointF(-8, 0))
    painter.drawPath(lid)
    fill(painter, t.ACT)
    painter.drawEllipse(centre, 2.4, 2.4)


def _draw_sheet(painter, centre):
    stroke(painter, t.NEAR, width=1.8)
    painter.drawRoundedRect(QRectF(centre.x() - 6, centre.y() - 8, 12, 16), 2, 2)
    for down in (-3, 1):
        painter.drawLine(centre + QPointF(-3, down), centre + QPointF(3, down))


class TopStrip(QFrame):
    """Patient on the left, phases in the middle, mode and time on the right."""

    def __init__(self, phases, *, patient, mode):
        super().__init__()
        self.setObjectName("panel")
        self.setFixedHeight(grid(t.TOP_STRIP))
        self.phases = PhaseStrip(phases)
        self.time = label("", role="value")
        self.time.setAccessibleName("Time")
        self.time.setFixedWidth(math.ceil(text_width("000:00", "value")) + 4)
        self.time.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        name = label(shortened(patient, grid(220), role="strong"), role="strong")
        name.setToolTip(patient)
        sides = row(
            name, None, (self.phases, 20), None, ModeChip(mode), self.time, margin=(16, 0, 16, 0), gap=16
        )
        self.setLayout(sides)

    def show_time(self, seconds):
        """Show whole seconds as minutes and seconds."""
        self.time.setText(f"{int(seconds) // 60:02d}:{int(seconds) % 60:02d}")


class ReadingStrip(Canvas):
    """Name over value, always in the same order and place, with room for one sentence at the right.

    Parameters
    ----------
    names : sequence of str
    widest : sequence of str
        The longest value of each cell: sets the widths, so that nothing moves.
    """

    def __init__(self, names, *, widest):
        super().__init__("Readings", high=grid(t.READING_STRIP))
        self.names, self.widest = tuple(names), tuple(widest)
        self.values = dict.fromkeys(names, ("–", None))
        self.note = ""

    def show_values(self, values, *, note=None):
        """Show {name: text or (text, verdict)}; names left out stay. `note` is the sentence, "" for none."""
        wanted = {**self.values, **{n: v if isinstance(v, tuple) else (v, None) for n, v in values.items()}}
        if wanted == self.values and (note is None or note == self.note):
            return
        self.values = wanted
        self.note = self.note if note is None else note
        told = [f"{name} {text}" for name, (text, _) in wanted.items()]
        self.setAccessibleDescription(". ".join([*told, self.note]))
        self.update()

    def _needed(self):
        for name, widest in zip(self.names, self.widest, strict=True):
            yield max(text_width(say(name), "label"), text_width(widest, "value") + 22) + 2

    def draw(self, painter, box):
        fill(painter, t.PANEL)
        painter.drawRoundedRect(box, t.RADIUS, t.RADIUS)
        needed = list(self._needed())
        note = min(text_width(say(self.note)) / 2 + 48, grid(NOTE_WIDTH)) if self.note else 0.0
        gaps = max(1, len(needed) - (0 if self.note else 1))
        spare = (box.width() - 32 - note - sum(needed)) / gaps
        if spare < 6:
            CHOSEN.overflows.append(("readings strip", (spare, 6), (box.width(), box.height())))
        left, half = box.left() + 16, box.height() / 2
        for index, (name, need) in enumerate(zip(self.names, needed, strict=True)):
            if index:
                line = QRectF(left - spare / 2, box.top() + 16, 1, box.height() - 32)
                painter.fillRect(line, colour(t.LINE))
            text, kind = self.values[name]
            above = QRectF(left, box.top() + 6, need + 1, half - 6)
            write(painter, above, say(name), role="label", ink=t.MUTED)
            shift = 0
            if kind:
                verdict(painter, QPointF(left + 8, box.top() + half * 1.42), 15, kind=kind)
                shift = 22
            below = QRectF(left + shift, box.top() + half - 4, need - shift + 1, half)
            write(painter, below, text, role="value")
            left += need + spare
        if self.note:
            place = QRectF(box.right() - note - 8, box.top(), note, box.height())
            write(painter, place, say(self.note), ink=t.MUTED, wrap=True)
