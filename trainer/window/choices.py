"""A box to tick and a choice from a list."""

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPolygonF
from PySide6.QtWidgets import QMenu

from trainer.window import tokens as t
from trainer.window.controls import Pressable
from trainer.window.lettering import grid, say, text_width
from trainer.window.painting import arrow_head, fill, stroke, write


class Tick(Pressable):
    """A box to tick with its words, and a fact on a second line."""

    toggled = Signal(bool)

    def __init__(self, text, *, done=False, note=None):
        super().__init__(text, high=grid(48 if note else 32))
        self.text, self.done, self.note = say(text), done, say(note) if note else None
        self.setAccessibleDescription("ticked" if done else "not ticked")

    def minimumSizeHint(self):
        wide = max(text_width(self.text), text_width(self.note or ""))
        return QSize(math.ceil(wide) + grid(16) + 14, self.height())

    sizeHint = minimumSizeHint

    def tick(self, done, *, tell=True):
        if done != self.done:
            self.done = done
            self.setAccessibleDescription("ticked" if done else "not ticked")
            self.update()
            if tell:
                self.toggled.emit(done)

    def clicked_at(self, spot):
        del spot
        self.tick(not self.done)
        self.clicked.emit()

    def draw(self, painter, box):
        size, line = grid(16) + 2, grid(24) if self.note else box.height()
        square = QRectF(box.left() + 2, box.top() + line / 2 - size / 2, size, size)
        fill(painter, t.ACT if self.done else t.GROUND)
        painter.drawRoundedRect(square, 3, 3)
        stroke(painter, t.CHALK if self.hasFocus() else t.ACT if self.done else t.EDGE, width=1.4)
        painter.drawRoundedRect(square, 3, 3)
        if self.hasFocus():
            painter.drawRoundedRect(square.adjusted(-2, -2, 2, 2), 4, 4)
        if self.done:
            stroke(painter, t.INK, width=2.2)
            ticks = [(-4.5, 0.0), (-1.0, 4.0), (5.0, -4.0)]
            painter.drawPolyline(QPolygonF([square.center() + QPointF(x, y) for x, y in ticks]))
        left = square.right() + 8
        write(painter, QRectF(left, box.top(), box.right() - left, line), self.text)
        if self.note:
            under = QRectF(left, box.top() + line, box.right() - left, box.height() - line)
            write(painter, under, self.note, ink=t.MUTED)


class Choice(Pressable):
    """One of a list, opened as a menu; an empty field is dashed."""

    chosen_changed = Signal(str)

    def __init__(self, name, options, *, chosen=None, show=str):
        super().__init__(name, high=grid(t.CONTROL))
        self.name, self.options, self.chosen, self.show_option = say(name), tuple(options), chosen, show

    def choose(self, option, *, tell=True):
        if option != self.chosen:
            self.chosen = option
            self.setAccessibleDescription(self.show_option(option) if option is not None else "")
            self.update()
            if tell:
                self.chosen_changed.emit(str(option))

    def keyPressEvent(self, event):
        move = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(event.key())
        if move is None:
            super().keyPressEvent(event)
            return
        at = self.options.index(self.chosen) + move if self.chosen in self.options else 0
        self.choose(self.options[max(0, min(at, len(self.options) - 1))])

    def clicked_at(self, spot):
        del spot
        menu = QMenu(self)
        for option in self.options:
            entry = menu.addAction(say(self.show_option(option)))
            entry.triggered.connect(lambda _=False, option=option: self.choose(option))
        menu.popup(self.mapToGlobal(self._field(QRectF(self.rect())).bottomLeft().toPoint()))
        self.clicked.emit()

    def minimumSizeHint(self):
        widest = max(text_width(say(self.show_option(option)), "strong") for option in self.options)
        return QSize(math.ceil(text_width(self.name) + widest) + 60, self.height())

    sizeHint = minimumSizeHint

    def _field(self, box):
        widest = max(text_width(say(self.show_option(o)), "strong") for o in self.options)
        wide = max(widest + 48, (0.52 if self.name else 1.0) * box.width())
        return QRectF(box.right() - wide, box.top() + 1, wide - 1, box.height() - 2)

    def draw(self, painter, box):
        field = self._field(box)
        if self.name:
            before = QRectF(box.left(), box.top(), field.left() - box.left() - 8, box.height())
            write(painter, before, self.name)
        fill(painter, t.GROUND)
        painter.drawRoundedRect(field, t.RADIUS, t.RADIUS)
        empty = self.chosen is None
        stroke(
            painter,
            t.CHALK if self.hasFocus() else t.EDGE,
            width=2 if self.hasFocus() else 1,
            style=Qt.PenStyle.DashLine if empty else Qt.PenStyle.SolidLine,
        )
        painter.drawRoundedRect(field.adjusted(1, 1, -1, -1), t.RADIUS, t.RADIUS)
        words = say("choose") if empty else say(self.show_option(self.chosen))
        ink = t.MUTED if empty or not self.isEnabled() else t.CHALK
        write(painter, field.adjusted(12, 0, -28, 0), words, role="strong", ink=ink)
        arrow_head(painter, QPointF(field.right() - 16, field.center().y()), 9, direction="down")
