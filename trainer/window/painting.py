"""Strokes, words, arrow heads and the shapes of verdicts, painted the same way everywhere."""

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF

from trainer.window import tokens as t
from trainer.window.lettering import CHOSEN, font, grid, text_width

LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
CENTRE = Qt.AlignmentFlag.AlignCenter
TOP = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop
ARROWS = {"up": 0, "right": 90, "down": 180, "left": 270}
SMOOTH = (
    QPainter.RenderHint.Antialiasing
    | QPainter.RenderHint.TextAntialiasing
    | QPainter.RenderHint.SmoothPixmapTransform
)


def colour(name, alpha=255):
    """Return the QColor of a token, more or less opaque."""
    made = QColor(name)
    made.setAlpha(alpha)
    return made


def stroke(painter, name, *, width=t.STROKE, style=Qt.PenStyle.SolidLine, alpha=255):
    """Draw lines only, from now on."""
    pen = QPen(colour(name, alpha), width, style, Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)


def fill(painter, name, *, alpha=255):
    """Draw filled shapes without an outline, from now on."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour(name, alpha))


def write(painter, box, text, *, role="text", ink=t.CHALK, align=LEFT, weight=None, wrap=False):
    """Write `text` in `box`; one that does not fit is noted in `CHOSEN.overflows`."""
    painter.setFont(font(role, weight=weight))
    painter.setPen(colour(ink))
    flags = int(align) | (int(Qt.TextFlag.TextWordWrap) if wrap else 0)
    needed = painter.fontMetrics().boundingRect(box.toRect(), flags, text)
    if needed.width() > box.width() + 1 or needed.height() > box.height() + 3:
        room = (round(box.width()), round(box.height()))
        CHOSEN.overflows.append((text, (needed.width(), needed.height()), room))
    painter.drawText(box, flags, text)


def write_over(painter, spot, text, *, role="strong", ink=t.CHALK, align=CENTRE):
    """Write over a picture: letters with a dark rim, legible on bone and on air alike."""
    path = QPainterPath()
    path.addText(0, 0, font(role), text)
    bounds = path.boundingRect()
    shift = {CENTRE: -bounds.width() / 2, LEFT: 0.0, RIGHT: -bounds.width()}[align]
    path.translate(spot.x() + shift - bounds.x(), spot.y() + bounds.height() / 2)
    stroke(painter, t.GROUND, width=4, alpha=225)
    painter.drawPath(path)
    painter.fillPath(path, colour(ink))


def plate(painter, box, text, *, role="strong"):
    """Write on a dark plate over a picture."""
    fill(painter, t.GROUND, alpha=214)
    painter.drawRoundedRect(box, t.SMALL_RADIUS, t.SMALL_RADIUS)
    write(painter, box, text, role=role, align=CENTRE)


def arrow_head(painter, spot, size, *, direction, ink=t.CHALK):
    """Draw a solid arrow head pointing "up", "right", "down" or "left"."""
    painter.save()
    painter.translate(spot)
    painter.rotate(ARROWS[direction])
    fill(painter, ink)
    corners = [(0.0, -0.5), (0.48, 0.36), (-0.48, 0.36)]
    painter.drawPolygon(QPolygonF([QPointF(x * size, y * size) for x, y in corners]))
    painter.restore()


def verdict(painter, spot, size, *, kind):
    """Draw the shape of a verdict: "met" disc, "near" triangle, "missed" square, else an open ring."""
    {"met": _met, "near": _near, "missed": _missed}.get(kind, _open)(painter, spot, size / 2)


def _line(painter, spot, points):
    painter.drawPolyline(QPolygonF([spot + QPointF(x, y) for x, y in points]))


def _met(painter, spot, r):
    fill(painter, t.MET)
    painter.drawEllipse(spot, r, r)
    stroke(painter, t.INK, width=0.26 * r)
    _line(painter, spot, [(-0.45 * r, 0.02 * r), (-0.1 * r, 0.4 * r), (0.48 * r, -0.36 * r)])


def _near(painter, spot, r):
    fill(painter, t.NEAR)
    corners = [(0.0, -r), (1.08 * r, 0.86 * r), (-1.08 * r, 0.86 * r)]
    painter.drawPolygon(QPolygonF([spot + QPointF(x, y) for x, y in corners]))
    stroke(painter, t.INK, width=0.26 * r)
    _line(painter, spot, [(0.0, -0.32 * r), (0.0, 0.22 * r)])
    painter.drawPoint(spot + QPointF(0.0, 0.56 * r))


def _missed(painter, spot, r):
    fill(painter, t.MISSED)
    painter.drawRoundedRect(QRectF(spot.x() - 0.92 * r, spot.y() - 0.92 * r, 1.84 * r, 1.84 * r), 2, 2)
    stroke(painter, t.INK, width=0.26 * r)
    arm = 0.4 * r
    _line(painter, spot, [(-arm, -arm), (arm, arm)])
    _line(painter, spot, [(-arm, arm), (arm, -arm)])


def _open(painter, spot, r):
    stroke(painter, t.EDGE, width=1.6)
    painter.drawEllipse(spot, 0.8 * r, 0.8 * r)


def source_mark(painter, box, *, status):
    """Draw where a criterion comes from: P published, C common practice, D derived, A the rest."""
    letter = {"published": "P", "common practice": "C", "derived": "D"}.get(status, "A")
    if letter == "P":
        fill(painter, t.MUTED)
        painter.drawRoundedRect(box, 3, 3)
    else:
        dashed = Qt.PenStyle.DashLine if letter == "A" else Qt.PenStyle.SolidLine
        stroke(painter, t.MUTED, width=1.4, style=dashed)
        painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), 3, 3)
        if letter == "D":
            painter.drawRoundedRect(box.adjusted(3.5, 3.5, -3.5, -3.5), 1, 1)
    ink = t.INK if letter == "P" else t.CHALK
    write(painter, box.adjusted(-4, -4, 4, 4), letter, role="strong", ink=ink, align=CENTRE)


def key_cap_width(key):
    """Return the width of a key's cap. [px]"""
    return grid(24) if key in ARROWS else max(grid(24), round(text_width(key, "label")) + 12)


def key_cap(painter, box, key, *, ink=t.CHALK):
    """Draw a key: a letter, a word or an arrow."""
    stroke(painter, t.EDGE if ink == t.CHALK else ink, width=1.2)
    painter.drawRoundedRect(box, 3, 3)
    if key in ARROWS:
        arrow_head(painter, box.center(), 9, direction=key, ink=ink)
    else:
        write(painter, box.adjusted(-6, -3, 6, 3), key, role="label", ink=ink, align=CENTRE)
