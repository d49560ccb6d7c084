"""Large choices and rows of a list, both pressed like buttons."""

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainterPath, QPixmap

from trainer.window import tokens as t
from trainer.window.controls import Pressable
from trainer.window.lettering import grid, say, shortened
from trainer.window.painting import RIGHT, TOP, colour, fill, key_cap, key_cap_width, stroke, verdict, write


class PictureCard(Pressable):
    """A picture with a title, its key and two lines of words."""

    def __init__(self, title, words, *, key, picture=None):
        super().__init__(title)
        self.setAccessibleDescription(words)
        self.title, self.words, self.key = say(title), say(words), key
        self.pixmap = QPixmap(str(picture)) if picture else QPixmap()

    def sizeHint(self):
        return QSize(grid(280), grid(480))

    def minimumSizeHint(self):
        return QSize(grid(200), grid(240))

    def draw(self, painter, box):
        box = box.adjusted(1, 1, -1, -1)
        shape = QPainterPath()
        shape.addRoundedRect(box, t.RADIUS, t.RADIUS)
        painter.save()
        painter.setClipPath(shape)
        painter.fillRect(box, colour(t.HOVER if self.underMouse() else t.PANEL))
        words_high = grid(128)
        top = QRectF(box.left(), box.top(), box.width(), box.height() - words_high)
        if not self.pixmap.isNull():
            size = max(top.width() / self.pixmap.width(), top.height() / self.pixmap.height())
            wide, high = top.width() / size, top.height() / size
            source = QRectF((self.pixmap.width() - wide) / 2, (self.pixmap.height() - high) / 2, wide, high)
            painter.drawPixmap(top, self.pixmap, source)
        painter.restore()
        inner = QRectF(box.left() + 24, top.bottom() + 16, box.width() - 48, words_high - 24)
        wide = key_cap_width(self.key)
        cap = QRectF(inner.right() - wide, inner.top() + 4, wide, grid(24))
        key_cap(painter, cap, self.key)
        title = QRectF(inner.left(), inner.top(), inner.width() - wide - 8, grid(32))
        write(painter, title, self.title, role="title")
        below = QRectF(inner.left(), inner.top() + grid(32) + 4, inner.width(), inner.height() - grid(32))
        write(painter, below, self.words, ink=t.MUTED, align=TOP, wrap=True)
        stroke(painter, t.LINE, width=1)
        painter.drawPath(shape)
        self.focus_line(painter, box)


class ListRow(Pressable):
    """A row: a verdict shape, a name with a second line under it, and a figure at the right."""

    def __init__(self, name, note, *, kind=None, figure="", chosen=False):
        super().__init__(name, high=grid(56))
        self.setAccessibleDescription(f"{note} {figure}".strip())
        self.name, self.note, self.kind, self.figure, self.chosen = name, say(note), kind, figure, chosen

    def show_chosen(self, chosen):
        if chosen != self.chosen:
            self.chosen = chosen
            self.update()

    def draw(self, painter, box):
        if self.chosen or self.held or self.underMouse():
            fill(painter, t.RAISED if self.chosen or self.held else t.HOVER)
            painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), t.RADIUS, t.RADIUS)
        if self.chosen:
            painter.fillRect(QRectF(box.left(), box.top() + 8, 3, box.height() - 16), colour(t.ACT))
        left = box.left() + 12
        if self.kind:
            verdict(painter, QPointF(left + 9, box.center().y()), 17, kind=self.kind)
            left += 32
        right = box.right() - 12
        if self.figure:
            place = QRectF(right - grid(72), box.top(), grid(72), box.height())
            write(painter, place, self.figure, role="value", align=RIGHT)
            right -= grid(72) + 8
        half = box.height() / 2
        name = QRectF(left, box.top() + 4, right - left, half - 4)
        write(painter, name, shortened(self.name, name.width() - 2, role="strong"), role="strong")
        write(painter, QRectF(left, box.top() + half, right - left, half - 6), self.note, ink=t.MUTED)
        self.focus_line(painter, box)


class ProgressBar(Pressable):
    """How far long work is: a lead whose contacts fill up, with words."""

    def __init__(self):
        super().__init__("Progress", high=grid(48))
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.done, self.total, self.words = 0, 1, ""

    def show_progress(self, done, total, words):
        self.done, self.total, self.words = done, max(total, 1), words
        self.setAccessibleDescription(f"{words}, {done} of {total}")
        self.update()

    def draw(self, painter, box):
        write(painter, QRectF(box.left(), box.top(), box.width(), grid(24)), say(self.words), ink=t.MUTED)
        y = box.bottom() - 12
        stroke(painter, t.LINE)
        painter.drawLine(QPointF(box.left(), y), QPointF(box.right(), y))
        pieces = 16
        wide = box.width() / pieces
        for piece in range(pieces):
            on = piece < pieces * self.done / self.total
            fill(painter, t.ACT if on else t.RAISED)
            painter.drawRoundedRect(QRectF(box.left() + piece * wide + 3, y - 4, wide - 6, 8), 4, 4)
