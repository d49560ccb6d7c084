"""The score and its criteria: shape, words, what was found, points, and where the criterion comes from."""

from PySide6.QtCore import QPointF, QRectF

from trainer.scoring.words import found_words, kind_of
from trainer.window import tokens as t
from trainer.window.canvas import Canvas
from trainer.window.controls import Pressable
from trainer.window.lettering import grid, say, text_width
from trainer.window.painting import RIGHT, colour, fill, source_mark, stroke, verdict, write


class ScoreHead(Canvas):
    """The score, large, with the mark that passes."""

    def __init__(self, score):
        super().__init__("Score", high=grid(88))
        self.score = score
        passed = "passed" if score.passed else "not passed"
        self.words = "critical error" if score.critical_errors else passed
        self.setAccessibleDescription(f"{score.percent:.0f} of 100, {self.words}")

    def draw(self, painter, box):
        figure = f"{self.score.percent:.0f}"
        wide = text_width(figure, "figure") + 8
        high = grid(56)
        write(painter, QRectF(box.left(), box.top() - 4, wide, high), figure, role="figure")
        place = QRectF(box.left() + wide, box.top() + 8, grid(96), high - 12)
        write(painter, place, say("of 100"), role="title", ink=t.MUTED)
        kind = "met" if self.score.passed else "missed"
        words = say(self.words)
        left = box.right() - text_width(words, "strong") - 2
        write(painter, QRectF(left, box.top() + 8, box.right() - left, high - 12), words, role="strong")
        verdict(painter, QPointF(left - 16, box.top() + 8 + (high - 12) / 2), 17, kind=kind)
        y = box.top() + high + 8
        bar = QRectF(box.left(), y, box.width(), 10)
        painter.fillRect(bar, colour(t.GROUND))
        fill(painter, t.ACT)
        painter.drawRect(QRectF(bar.left(), y, bar.width() * self.score.percent / 100.0, 10))
        x = bar.left() + bar.width() * self.score.pass_percent / 100.0
        stroke(painter, t.CHALK)
        painter.drawLine(QPointF(x, y - 4), QPointF(x, y + 14))


class CriterionRow(Pressable):
    """One criterion; pressed, it takes the replay to its moment."""

    def __init__(self, item):
        super().__init__(item.title, high=grid(40))
        self.item, self.kind, self.chosen = item, kind_of(item), False
        self.found = found_words(item)
        points = f"{item.earned:.0f}/{item.points:.0f}"
        self.points = points
        self.setAccessibleDescription(f"{self.kind}, {self.found}, {points} points, {item.status}")
        self.setToolTip(f"Asked: {item.asked}. {item.source}")

    def show_chosen(self, chosen):
        if chosen != self.chosen:
            self.chosen = chosen
            self.update()

    def draw(self, painter, box):
        if self.chosen or self.underMouse():
            fill(painter, t.RAISED)
            painter.drawRoundedRect(box.adjusted(0, 1, 0, -1), t.RADIUS, t.RADIUS)
        if self.chosen:
            painter.fillRect(QRectF(box.left(), box.top() + 6, 3, box.height() - 12), colour(t.ACT))
        verdict(painter, QPointF(box.left() + 20, box.center().y()), 17, kind=self.kind)
        mark = QRectF(box.right() - 26, box.center().y() - 9, 18, 18)
        source_mark(painter, mark, status=self.item.status)
        points = QRectF(mark.left() - 60, box.top(), 52, box.height())
        write(painter, points, self.points, role="strong", align=RIGHT)
        wide = text_width(self.found) + 4
        found = QRectF(points.left() - wide - 2, box.top(), wide, box.height())
        write(painter, found, self.found, ink=t.MUTED, align=RIGHT)
        name = QRectF(box.left() + 38, box.top(), found.left() - box.left() - 44, box.height())
        write(painter, name, say(self.item.title), wrap=True)
        self.focus_line(painter, box)


class SourceKey(Canvas):
    """What the source marks mean."""

    MARKS = ("published", "common practice", "derived", "assumed")

    def __init__(self):
        super().__init__("Source marks", high=grid(24))

    def draw(self, painter, box):
        widths = [text_width(say(status)) + 2 for status in self.MARKS]
        gap = max(4.0, (box.width() - sum(widths) - 22 * len(widths)) / (len(widths) - 1))
        left = box.left()
        for status, wide in zip(self.MARKS, widths, strict=True):
            source_mark(painter, QRectF(left, box.center().y() - 9, 18, 18), status=status)
            place = QRectF(left + 22, box.top(), min(wide, box.right() - left - 22), box.height())
            write(painter, place, say(status), ink=t.MUTED)
            left += 22 + wide + gap
