"""What can be pressed: a button with its key, one of a few, less and more."""

import math

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal

from trainer.window import tokens as t
from trainer.window.canvas import Canvas
from trainer.window.lettering import grid, say, text_width
from trainer.window.painting import (
    ARROWS,
    CENTRE,
    RIGHT,
    arrow_head,
    colour,
    fill,
    key_cap,
    key_cap_width,
    stroke,
    write,
)

ENTER = (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Select)


class Pressable(Canvas):
    """A painted control: mouse, keyboard focus, Enter.

    `pressed` and `released` follow the finger, `clicked` comes when it is lifted inside. Space is left to the
    pages, which use it for a picture.
    """

    pressed = Signal()
    released = Signal()
    clicked = Signal()

    def __init__(self, name, **size):
        super().__init__(name, **size)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)
        self.held = False

    def enterEvent(self, event):
        self.update()
        super().enterEvent(event)

    def leaveEvent(self, event):
        self.update()
        super().leaveEvent(event)

    def changeEvent(self, event):
        if event.type() == QEvent.Type.EnabledChange:
            self.update()
        super().changeEvent(event)

    def show_held(self, held):
        """Paint as held; a page calls this when the key is down instead of the mouse."""
        if held != self.held:
            self.held = held
            self.update()

    def mousePressEvent(self, event):
        if event.button() == Qt.MouseButton.LeftButton:
            self.show_held(True)
            self.pressed.emit()

    def mouseReleaseEvent(self, event):
        if event.button() == Qt.MouseButton.LeftButton and self.held:
            self.show_held(False)
            self.released.emit()
            if self.rect().contains(event.position().toPoint()):
                self.clicked_at(event.position())

    def clicked_at(self, spot):
        """Act on a click; controls with several places override it."""
        del spot
        self.clicked.emit()

    def keyPressEvent(self, event):
        if event.key() in ENTER and not event.isAutoRepeat():
            self.show_held(True)
            self.pressed.emit()
        else:
            super().keyPressEvent(event)

    def keyReleaseEvent(self, event):
        if event.key() in ENTER and not event.isAutoRepeat() and self.held:
            self.show_held(False)
            self.released.emit()
            self.clicked_at(QPointF(self.rect().center()))
        else:
            super().keyReleaseEvent(event)

    def ground(self):
        """Return the fill of the present state."""
        if self.held:
            return t.PRESSED
        return t.HOVER if self.underMouse() and self.isEnabled() else t.RAISED

    def focus_line(self, painter, box):
        if self.hasFocus():
            stroke(painter, t.CHALK)
            painter.drawRoundedRect(box.adjusted(3, 3, -3, -3), t.SMALL_RADIUS, t.SMALL_RADIUS)


class Button(Pressable):
    """Words on the left, the key on the right.

    Parameters
    ----------
    key : str, optional
        As on the cap: a letter, a word, or "up", "down", "left", "right".
    kind : str
        "plain", "main" (one a page: the next step of the hand) or "quiet" (no ground).
    """

    def __init__(self, text, *, key=None, kind="plain"):
        super().__init__(text, high=grid(t.CONTROL))
        self.text, self.key, self.kind = say(text), key, kind
        if key:
            self.setAccessibleDescription(f"Key: {key}")

    def show_text(self, text):
        """Change the words."""
        self.setAccessibleName(text)
        self.text = say(text)
        self.updateGeometry()
        self.update()

    def sizeHint(self):
        cap = key_cap_width(self.key) + 8 if self.key else 0
        return QSize(math.ceil(text_width(self.text, "strong")) + 26 + cap, self.height())

    def minimumSizeHint(self):
        return self.sizeHint()

    def draw(self, painter, box):
        box = box.adjusted(1, 1, -1, -1)
        main = self.kind == "main" and self.isEnabled()
        if self.kind != "quiet" or self.held or self.underMouse():
            fill(painter, t.ACT if main else self.ground())
            painter.drawRoundedRect(box, t.RADIUS, t.RADIUS)
        if self.held:
            stroke(painter, t.INK if main else t.ACT)
            painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), t.RADIUS, t.RADIUS)
        self.focus_line(painter, box)
        ink = t.INK if main else t.CHALK if self.isEnabled() else t.MUTED
        inner = box.adjusted(12, 0, -12, 0)
        wide = key_cap_width(self.key) if self.key else 0
        # Where there is no room for both, the words stay: the key stands on the sheet.
        if not self.key or text_width(self.text, "strong") > inner.width() - wide - 2:
            write(painter, inner, self.text, role="strong", ink=ink, align=CENTRE)
            return
        cap = QRectF(inner.right() - wide + 4, box.center().y() - grid(24) / 2, wide, grid(24))
        key_cap(painter, cap, self.key, ink=t.INK if main else t.CHALK)
        write(painter, inner.adjusted(0, 0, -wide - 2, 0), self.text, role="strong", ink=ink)


class Segments(Pressable):
    """One of a few: the chosen one is filled and underlined, so that it shows without colour."""

    chosen_changed = Signal(int)

    def __init__(self, name, words, *, chosen=0):
        super().__init__(name, high=grid(t.CONTROL))
        self.plain_words = tuple(words)
        self.words = [say(word) for word in words]
        self.chosen = chosen
        self._tell()

    def _tell(self):
        chosen = self.plain_words[self.chosen] if self.chosen is not None else "none"
        self.setAccessibleDescription(f"{chosen} of {', '.join(self.plain_words)}")

    def choose(self, index, *, tell=True):
        """Mark one as chosen; None for none."""
        if index != self.chosen:
            self.chosen = index
            self._tell()
            self.update()
            if tell and index is not None:
                self.chosen_changed.emit(index)

    def keyPressEvent(self, event):
        move = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(event.key())
        if move is None:
            super().keyPressEvent(event)
        else:
            self.choose(((self.chosen or 0) + move) % len(self.words))

    def clicked_at(self, spot):
        for index, cell in enumerate(self._cells(QRectF(self.rect()))):
            if cell.contains(spot):
                self.choose(index)
        self.clicked.emit()

    def sizeHint(self):
        return QSize(sum(math.ceil(text_width(word, "strong")) + 20 for word in self.words), self.height())

    def minimumSizeHint(self):
        return self.sizeHint()

    def _cells(self, box):
        box = box.adjusted(1, 1, -1, -1)
        needed = [text_width(word, "strong") + 20 for word in self.words]
        spare = (box.width() - sum(needed)) / len(needed)
        left = box.left()
        for need in needed:
            yield QRectF(left, box.top(), need + spare, box.height())
            left += need + spare

    def draw(self, painter, box):
        fill(painter, t.GROUND)
        painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), t.RADIUS, t.RADIUS)
        stroke(painter, t.LINE, width=t.HAIRLINE)
        painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), t.RADIUS, t.RADIUS)
        for index, (word, cell) in enumerate(zip(self.words, self._cells(box), strict=True)):
            on = index == self.chosen
            if on:
                fill(painter, t.PRESSED)
                painter.drawRoundedRect(cell.adjusted(3, 3, -3, -3), t.SMALL_RADIUS, t.SMALL_RADIUS)
                line = QRectF(cell.left() + 12, cell.bottom() - 6, cell.width() - 24, 2)
                painter.fillRect(line, colour(t.ACT))
            ink = t.CHALK if on and self.isEnabled() else t.MUTED
            write(painter, cell.adjusted(4, 0, -4, 0), word, role="strong", ink=ink, align=CENTRE)
        self.focus_line(painter, box)


class Stepper(Pressable):
    """Name, value, and two keys for less and more; without a value two directions stand in words.

    `stepped` carries -1 or +1 at each click; `held_way` tells -1, +1 or 0 while the mouse holds a side.
    """

    stepped = Signal(int)
    held_way = Signal(int)

    def __init__(self, name, *, keys, value=None):
        super().__init__(name, high=grid(t.CONTROL))
        self.name, self.keys, self.value = say(name), keys, value
        self.way = 0

    def show_value(self, value):
        if value != self.value:
            self.value = value
            self.setAccessibleDescription(value or "")
            self.update()

    def minimumSizeHint(self):
        wide = text_width(self.name) + (text_width(self.value, "value") + 2 if self.value else 0)
        return QSize(math.ceil(wide) + 2 * grid(32) + 28, self.height())

    sizeHint = minimumSizeHint

    def _sides(self, box):
        size = grid(32)
        more = QRectF(box.right() - size, box.center().y() - size / 2, size, size)
        return more.translated(-size - 8, 0), more

    def mousePressEvent(self, event):
        less, more = self._sides(QRectF(self.rect()))
        self.way = -1 if less.contains(event.position()) else 1 if more.contains(event.position()) else 0
        if self.way:
            self.held_way.emit(self.way)
        super().mousePressEvent(event)

    def mouseReleaseEvent(self, event):
        if self.way:
            self.held_way.emit(0)
        super().mouseReleaseEvent(event)
        self.way = 0

    def clicked_at(self, spot):
        less, more = self._sides(QRectF(self.rect()))
        if less.contains(spot) or more.contains(spot):
            self.stepped.emit(-1 if less.contains(spot) else 1)
        self.clicked.emit()

    def keyPressEvent(self, event):
        move = {Qt.Key.Key_Minus: -1, Qt.Key.Key_Plus: 1, Qt.Key.Key_Equal: 1}.get(event.key())
        if move is None:
            super().keyPressEvent(event)
        else:
            self.stepped.emit(move)

    def draw(self, painter, box):
        less, more = self._sides(box)
        for way, side, key in ((-1, less, self.keys[0]), (1, more, self.keys[1])):
            fill(painter, t.PRESSED if self.held and self.way == way else t.RAISED)
            painter.drawRoundedRect(side, t.RADIUS, t.RADIUS)
            if key in ARROWS:
                arrow_head(painter, side.center(), 10, direction=key)
            else:
                write(painter, side, key, role="strong", align=CENTRE)
        wide = text_width(self.value, "value") + 2 if self.value else 0
        if self.value:
            value_box = QRectF(less.left() - 8 - wide, box.top(), wide, box.height())
            write(painter, value_box, self.value, role="value", align=RIGHT)
        left = QRectF(box.left(), box.top(), less.left() - 12 - wide - box.left(), box.height())
        write(painter, left, self.name, ink=t.MUTED)
        if self.hasFocus():
            stroke(painter, t.CHALK)
            painter.drawRoundedRect(less.united(more).adjusted(-2, -2, 2, 2), t.RADIUS, t.RADIUS)
