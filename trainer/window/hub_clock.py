"""The hub of the lead as the hand that turns it sees it; the largest thing in the column."""

import math

from PySide6.QtCore import QPointF, QRectF, Signal
from PySide6.QtGui import QPainterPath, QPen, QPolygonF

from trainer.window import tokens as t
from trainer.window.controls import Pressable
from trainer.window.lettering import grid, say
from trainer.window.painting import CENTRE, RIGHT, arrow_head, colour, fill, key_cap, stroke, write

TURN = 2.0 * math.pi


class HubClock(Pressable):
    """12 is dorsal, 3 the patient's right, 6 ventral, 9 the patient's left, as in every picture from behind.

    The wing outside the rim is the hub; the petal inside is the curved tip (practice only), the arc between
    them the lag of the twist. Dragging the wing or turning the mouse wheel turns the hub: `turned` carries an
    angle, clockwise positive. [rad]

    Parameters
    ----------
    keys : (str, str)
        Caps for anticlockwise and clockwise.
    """

    turned = Signal(float)
    WHEEL_STEP = TURN / 72.0

    def __init__(self, *, keys):
        super().__init__("Hub")
        self.keys, self.hub, self.tip, self.section = keys, 0.0, None, None
        self.setMinimumHeight(grid(200))
        self.dragged = None

    def show_hub(self, hub, *, tip=None, section=None):
        """Show clock angles [rad] of hub and tip, and the section of the canal at the tip.

        Parameters
        ----------
        section : (wall, dura) of (n, 2) float or None
            Outlines, x to the patient's right and y dorsal, at the scale in which the wall's largest is 1.
        """
        self.hub, self.tip, self.section = hub, tip, section
        self.setAccessibleDescription(f"{clock_words(hub)} o'clock")
        self.update()

    def wheelEvent(self, event):
        notches = event.angleDelta().y() / 120.0
        if notches:
            self.turned.emit(-notches * self.WHEEL_STEP)

    def mousePressEvent(self, event):
        self.dragged = self._angle(event.position())
        super().mousePressEvent(event)

    def mouseMoveEvent(self, event):
        if self.dragged is not None:
            now = self._angle(event.position())
            way = (now - self.dragged + TURN / 2) % TURN - TURN / 2
            self.dragged = now
            if way:
                self.turned.emit(way)

    def mouseReleaseEvent(self, event):
        self.dragged = None
        super().mouseReleaseEvent(event)

    def _dial(self):
        box = QRectF(self.rect())
        line = grid(24)
        return box.center(), min(box.width() / 2 - 28, box.height() / 2 - line - 4)

    def _angle(self, spot):
        centre, _ = self._dial()
        return math.atan2(spot.x() - centre.x(), centre.y() - spot.y())

    def draw(self, painter, box):
        centre, radius = self._dial()

        def at(angle, distance):
            return centre + QPointF(distance * math.sin(angle), -distance * math.cos(angle))

        fill(painter, t.GROUND)
        painter.drawEllipse(centre, radius, radius)
        for tick in range(60):
            large, quarter = tick % 5 == 0, tick % 15 == 0
            ink = t.CHALK if quarter else t.EDGE if large else t.LINE
            stroke(painter, ink, width=2.4 if quarter else 1.6 if large else 1.0)
            angle = tick / 60 * TURN
            painter.drawLine(at(angle, radius - 2), at(angle, radius - (12 if large else 6)))
        self._draw_section(painter, centre, 0.62 * radius)
        if self.tip is not None:
            self._draw_tip(painter, centre, radius)
        painter.save()
        painter.translate(centre)
        painter.rotate(self.hub / TURN * 360.0)
        corners = [(-9, -radius - 13), (9, -radius - 13), (5, -radius + 9), (-5, -radius + 9)]
        painter.setPen(QPen(colour(t.PANEL), 2))
        painter.setBrush(colour(t.CHALK))
        painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in corners]))
        painter.restore()
        self._draw_keys(painter, box)
        self._draw_words(painter, centre, radius)
        if self.hasFocus():
            stroke(painter, t.CHALK)
            painter.drawEllipse(centre, radius - 15, radius - 15)

    def _draw_section(self, painter, centre, size):
        for outline, ink, width in zip(self.section or (), (t.LINE, t.DURA), (2.0, 1.6), strict=False):
            path = QPolygonF([centre + QPointF(size * x, -size * y) for x, y in outline])
            stroke(painter, ink, width=width)
            painter.drawPolygon(path)

    def _draw_tip(self, painter, centre, radius):
        lag = (self.tip - self.hub + TURN / 2) % TURN - TURN / 2
        stroke(painter, t.ACT, width=5, alpha=110)
        rim = 0.78 * radius
        circle = QRectF(centre.x() - rim, centre.y() - rim, 2 * rim, 2 * rim)
        painter.drawArc(circle, int((90 - self.hub / TURN * 360) * 16), int(-lag / TURN * 360 * 16))
        painter.save()
        painter.translate(centre)
        painter.rotate(self.tip / TURN * 360.0)
        petal = QPainterPath(QPointF(0, -0.74 * radius))
        for side in (1, -1):
            first, last = ((-0.5, -0.2), -0.06) if side == 1 else ((-0.2, -0.5), -0.74)
            near, far = (0.15, 0.1) if side == 1 else (-0.1, -0.15)
            petal.cubicTo(
                QPointF(near * radius, first[0] * radius),
                QPointF(far * radius, first[1] * radius),
                QPointF(0, last * radius),
            )
        fill(painter, t.LEAD)
        painter.drawPath(petal)
        fill(painter, t.INK)
        painter.drawEllipse(QPointF(0, -0.56 * radius), 2.6, 2.6)
        painter.restore()

    def _draw_keys(self, painter, box):
        size = grid(24)
        for key, left, turn in ((self.keys[0], box.left(), -1), (self.keys[1], box.right() - size, 1)):
            key_cap(painter, QRectF(left, box.bottom() - size, size, size), key)
            stroke(painter, t.CHALK, width=1.8)
            middle = QPointF(left + size / 2, box.bottom() - size - 14)
            painter.drawArc(QRectF(middle.x() - 9, middle.y() - 7, 18, 18), 30 * 16, 120 * 16)
            arrow_head(painter, middle + QPointF(9 * turn, 1), 8, direction="down")

    def _draw_words(self, painter, centre, radius):
        high = grid(24) - 6
        top = QRectF(centre.x() - radius, centre.y() - radius - high - 10, 2 * radius, high)
        # The word steps aside when the wing stands before it.
        if abs((self.hub + TURN / 2) % TURN - TURN / 2) < 0.63:
            aside = QRectF(top.left() - 20, top.top(), radius, high)
            write(painter, aside, say("Dorsal"), role="label", ink=t.MUTED, align=RIGHT)
        else:
            write(painter, top, say("Dorsal"), role="label", ink=t.MUTED, align=CENTRE)
        below = QRectF(centre.x() - radius, centre.y() + radius + 6, 2 * radius, high)
        write(painter, below, say("Ventral"), role="label", ink=t.MUTED, align=CENTRE)
        for word, left in (("L", centre.x() - radius - 28), ("R", centre.x() + radius + 6)):
            place = QRectF(left, centre.y() - 12, 22, 24)
            write(painter, place, word, role="strong", align=CENTRE)


def clock_words(angle):
    """Return the hour, "1" to "12", nearest to a clock angle. [rad]"""
    return str(round(angle / TURN * 12) % 12 or 12)
