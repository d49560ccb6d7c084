"""What the hand feels, to be seen: resistance as a wedge, the syringe, the push on the lead."""

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainterPath, QPolygonF

from trainer.window import tokens as t
from trainer.window.canvas import Canvas
from trainer.window.lettering import grid, say
from trainer.window.painting import RIGHT, arrow_head, colour, fill, stroke, write

RESISTANCE_WORDS = ("soft", "firm", "tough", "bone")
TRACE_MM = 30.0
WEDGE = 20


class Resistance(Canvas):
    """How hard the tissue pushes back: length and thickness of a wedge say the same thing.

    Parameters
    ----------
    trace : bool
        Draw the last 30 mm of depth below, so that a rise and a drop are seen as a shape (practice only).
    """

    def __init__(self, *, trace):
        super().__init__("Resistance", high=grid(128 if trace else 80))
        self.share, self.word = 0.0, "soft"
        self.trace = [] if trace else None

    def show_feel(self, share, *, depth=None):
        """Show a resistance, 0 to 1; `depth` along the needle [mm] adds it to the trace."""
        self.share = min(max(float(share), 0.0), 1.0)
        self.word = RESISTANCE_WORDS[min(int(self.share * 4), 3)]
        self.setAccessibleDescription(self.word)
        if self.trace is not None and depth is not None:
            kept = [(d, s) for d, s in self.trace if depth - TRACE_MM < d < depth]
            self.trace = [*kept, (depth, self.share)]
        self.update()

    def clear(self):
        """Forget the trace; the needle is outside."""
        self.share, self.word = 0.0, "soft"
        self.trace = None if self.trace is None else []
        self.update()

    def draw(self, painter, box):
        line = grid(24)
        head = QRectF(box.left(), box.top(), 0.5 * box.width(), line)
        write(painter, head, say("Resistance"), role="strong", ink=t.MUTED)
        word = QRectF(box.left() + 0.4 * box.width(), box.top() - 2, 0.6 * box.width(), line + 4)
        write(painter, word, say(self.word), role="value", align=RIGHT)
        top = box.top() + line + 8
        for share, ink in ((1.0, t.GROUND), (self.share, t.ACT)):
            fill(painter, ink)
            painter.drawPolygon(_wedge(box, top, share))
        below = top + WEDGE + 2
        for index, name in enumerate(RESISTANCE_WORDS):
            x = box.left() + box.width() * index / 4
            stroke(painter, t.EDGE, width=1)
            painter.drawLine(QPointF(x + 0.5, below), QPointF(x + 0.5, below + 5))
            place = QRectF(x + 4, below, box.width() / 4 - 2, line)
            write(painter, place, say(name), role="label", ink=t.MUTED)
        if self.trace is not None:
            rest = QRectF(box.left(), below + line + 4, box.width(), box.bottom() - below - line - 4)
            self._draw_trace(painter, rest)

    def _draw_trace(self, painter, box):
        painter.fillRect(box, colour(t.GROUND))
        if not self.trace:
            return
        end = self.trace[-1][0]
        path = QPainterPath()
        for index, (depth, share) in enumerate(self.trace):
            x = box.left() + 0.96 * box.width() * (1.0 - (end - depth) / TRACE_MM)
            spot = QPointF(x, box.bottom() - 2 - (box.height() - 6) * share)
            if index:
                path.lineTo(spot)
            else:
                path.moveTo(spot)
        stroke(painter, t.ACT)
        painter.drawPath(path)
        fill(painter, t.CHALK)
        painter.drawEllipse(spot, 3.5, 3.5)


def _wedge(box, top, share):
    right, rise = box.left() + box.width() * share, (WEDGE - 3) * share
    corners = [(box.left(), WEDGE), (box.left(), WEDGE - 3), (right, WEDGE - 3 - rise), (right, WEDGE)]
    return QPolygonF([QPointF(x, top + y) for x, y in corners])


class SyringePicture(Canvas):
    """Barrel, plunger, fluid, and in words what the plunger does."""

    def __init__(self):
        super().__init__("Plunger", high=grid(80))
        self.share, self.word, self.medium, self.pressed = 0.8, "", "saline", False

    def show_plunger(self, share, word, *, medium, pressed):
        """Show how full the barrel is, 0 to 1, what the plunger does, "saline" or "air", and the thumb."""
        self.share, self.word, self.medium, self.pressed = min(max(share, 0.0), 1.0), word, medium, pressed
        self.setAccessibleDescription(f"{medium}, {word}")
        self.update()

    def draw(self, painter, box):
        line, high = grid(24), 30.0
        head = QRectF(box.left(), box.top(), 0.42 * box.width(), line)
        write(painter, head, say("Plunger"), role="strong", ink=t.MUTED)
        word = QRectF(box.left() + 0.3 * box.width(), box.top(), 0.7 * box.width(), line)
        write(painter, word, say(self.word), role="strong", align=RIGHT)
        y = box.top() + line + 0.52 * (box.height() - line)
        barrel = QRectF(box.left() + 24, y - high / 2, box.width() - 80, high)
        plunger = barrel.left() + 8 + (barrel.width() - 16) * self.share
        fill(painter, t.MUTED)
        painter.drawRect(QRectF(box.left(), y - 1.5, 12, 3))
        cone = [(12, -4), (24, -6), (24, 6), (12, 4)]
        painter.drawPolygon(QPolygonF([QPointF(box.left() + x, y + across) for x, across in cone]))
        self._draw_fluid(painter, barrel, plunger)
        fill(painter, t.CHALK)
        painter.drawRoundedRect(QRectF(plunger, y - high / 2 + 2, 9, high - 4), 2, 2)
        end = box.right() - 44 + (plunger - barrel.right()) * 0.25
        fill(painter, t.MUTED)
        painter.drawRect(QRectF(plunger + 9, y - 3, max(2.0, end - plunger - 9), 6))
        fill(painter, t.CHALK)
        painter.drawRoundedRect(QRectF(end - 2, y - 0.42 * high, 7, 0.84 * high), 2, 2)
        self._draw_barrel(painter, barrel)
        if self.pressed:
            arrow_head(painter, QPointF(end + 20, y), 14, direction="left", ink=t.ACT)

    def _draw_fluid(self, painter, barrel, plunger):
        if self.medium == "saline":
            fill(painter, t.ACT, alpha=110)
            wide = plunger - barrel.left() - 2
            painter.drawRect(QRectF(barrel.left() + 2, barrel.top() + 2, wide, barrel.height() - 4))
            return
        fill(painter, t.MUTED)
        for column in range(int((plunger - barrel.left() - 8) / 12)):
            for across in (-7, 1, 9):
                x = barrel.left() + 9 + 12 * column + (5 if across == 1 else 0)
                painter.drawEllipse(QPointF(x, barrel.center().y() + across - 1), 1.1, 1.1)

    @staticmethod
    def _draw_barrel(painter, barrel):
        stroke(painter, t.CHALK, width=1.8)
        painter.drawRoundedRect(barrel, 3, 3)
        x, y, wing = barrel.right(), barrel.center().y(), 0.72 * barrel.height()
        painter.drawLine(QPointF(x, y - wing), QPointF(x, y + wing))
        stroke(painter, t.MUTED, width=1.2)
        for mark in range(1, 10):
            x = barrel.left() + 8 + (barrel.width() - 16) * mark / 10
            length = 8 if mark % 5 == 0 else 5
            painter.drawLine(QPointF(x, barrel.top()), QPointF(x, barrel.top() + length))


class PushBar(Canvas):
    """Push on the lead: a bar with a hatched part from which on the hand should stop.

    Parameters
    ----------
    numbers : bool
        Write newtons (practice); words only otherwise.
    limit : float
        Where the hatched part begins. [N]
    """

    def __init__(self, *, numbers, limit=1.0):
        super().__init__("Push on the lead", high=grid(72))
        self.numbers, self.limit, self.push, self.word = numbers, limit, 0.0, "slides"

    def show_push(self, push, word):
        """Show a push [N] and how it feels, in a word."""
        self.push, self.word = float(push), word
        self.setAccessibleDescription(f"{word}, {push:.1f} N" if self.numbers else word)
        self.update()

    def draw(self, painter, box):
        line, high = grid(24), 14
        top = 1.6 * self.limit
        head = QRectF(box.left(), box.top(), 0.62 * box.width(), line)
        write(painter, head, say("Push on the lead"), role="strong", ink=t.MUTED)
        value = f"{self.push:.1f}\u00a0N" if self.numbers else say(self.word)
        place = QRectF(box.left() + 0.62 * box.width(), box.top() - 2, 0.38 * box.width(), line + 4)
        write(painter, place, value, role="value", align=RIGHT)
        y = box.top() + line + 8
        bar = QRectF(box.left(), y, box.width(), high)
        painter.fillRect(bar, colour(t.GROUND))
        stop = box.left() + box.width() * self.limit / top
        painter.save()
        painter.setClipRect(QRectF(stop, y, box.right() - stop, high))
        stroke(painter, t.EDGE, width=1)
        for x in range(-20, int(box.width()), 7):
            painter.drawLine(QPointF(box.left() + x, y + high), QPointF(box.left() + x + high, y))
        painter.restore()
        fill(painter, t.ACT if self.push < self.limit else t.NEAR)
        painter.drawRect(QRectF(box.left(), y, box.width() * min(self.push / top, 1.0), high))
        stroke(painter, t.CHALK)
        painter.drawLine(QPointF(stop, y - 3), QPointF(stop, y + high + 3))
        below = box.bottom() - y - high
        left = QRectF(box.left(), y + high, stop - box.left(), below)
        write(painter, left, say("slides"), role="label", ink=t.MUTED)
        right = QRectF(stop - 20, y + high, box.right() - stop + 20, below)
        write(painter, right, say("stop, look"), role="label", ink=t.MUTED, align=RIGHT)
