"""The replay's thread: phases as contacts, acts as ticks, faults as their shape."""

from PySide6.QtCore import QPointF, QRectF, Qt, Signal

from trainer.window import tokens as t
from trainer.window.controls import Pressable
from trainer.window.lettering import grid, say, text_width
from trainer.window.painting import CENTRE, fill, stroke, verdict, write


class Scrubber(Pressable):
    """Moves over the acts of a log; `moved(index)` when the place has changed.

    Parameters
    ----------
    phases : sequence of str
        Of each act.
    moments : sequence of trainer.scoring.moments.Moment
    """

    moved = Signal(int)

    def __init__(self, phases, moments):
        super().__init__("Replay", high=grid(72))
        self.phases, self.moments, self.at = list(phases), list(moments), max(len(phases) - 1, 0)
        self.stretches = _stretches(self.phases)

    def go_to(self, index, *, tell=True):
        """Go to an act."""
        index = min(max(int(index), 0), max(len(self.phases) - 1, 0))
        if index != self.at:
            self.at = index
            self.setAccessibleDescription(f"act {index + 1} of {len(self.phases)}")
            self.update()
            if tell:
                self.moved.emit(index)

    def to_mark(self, way):
        """Go to the next moment with a fault in a direction, or to the next moment at all."""
        marks = [m.act for m in self.moments if m.fault] or [m.act for m in self.moments]
        beyond = [act for act in marks if (act - self.at) * way > 0]
        if beyond:
            self.go_to(min(beyond) if way > 0 else max(beyond))

    def _x(self, index, box):
        count = max(len(self.phases), 1)
        return box.left() + 8 + (box.width() - 16) * (index + 0.5) / count

    def mousePressEvent(self, event):
        super().mousePressEvent(event)
        self._follow(event.position())

    def mouseMoveEvent(self, event):
        if event.buttons():
            self._follow(event.position())

    def _follow(self, spot):
        share = (spot.x() - 8) / max(self.width() - 16, 1)
        self.go_to(int(share * len(self.phases)))

    def keyPressEvent(self, event):
        step = {Qt.Key.Key_Comma: -1, Qt.Key.Key_Period: 1}.get(event.key())
        if step:
            self.go_to(self.at + step)
        else:
            super().keyPressEvent(event)

    def draw(self, painter, box):
        y = box.top() + grid(24) + 12
        stroke(painter, t.LINE)
        painter.drawLine(QPointF(box.left() + 8, y), QPointF(box.right() - 8, y))
        now = self.phases[self.at] if self.phases else ""
        for phase, first, last in self.stretches:
            piece = QRectF(
                QPointF(self._x(first - 0.5, box) + 2, y - 4), QPointF(self._x(last + 0.5, box) - 2, y + 4)
            )
            fill(painter, t.ACT if phase == now and first <= self.at <= last else t.EDGE)
            painter.drawRoundedRect(piece, 4, 4)
            words = say(phase.capitalize())
            if piece.width() > text_width(words, "strong") + 8:
                name = QRectF(piece.left(), box.top(), piece.width(), grid(24))
                write(painter, name, words, ink=t.CHALK if phase == now else t.MUTED, align=CENTRE)
        for moment in self.moments:
            x = self._x(moment.act, box)
            if moment.fault:
                verdict(painter, QPointF(x, y + 20), 15, kind=moment.fault)
            else:
                stroke(painter, t.MUTED, width=1)
                painter.drawLine(QPointF(x, y + 8), QPointF(x, y + 14))
        fill(painter, t.CHALK)
        painter.drawEllipse(QPointF(self._x(self.at, box), y), 8, 8)
        self.focus_line(painter, box)


def _stretches(phases):
    """Return [(phase, first, last)] of runs of equal phases."""
    found = []
    for index, phase in enumerate(phases):
        if found and found[-1][0] == phase:
            found[-1][2] = index
        else:
            found.append([phase, index, index])
    return [tuple(one) for one in found]
