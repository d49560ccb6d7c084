"""Two outlines of a body, front and back, with the areas of pain hatched."""

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QPainterPath, QPolygonF

from trainer.window import tokens as t
from trainer.window.canvas import Canvas
from trainer.window.lettering import grid, say
from trainer.window.painting import CENTRE, colour, fill, stroke, write

# Half outlines at x >= 0 in a frame 1 high, y down: our own drawing.
TRUNK = ((0, 0.17), (0.055, 0.17), (0.125, 0.2), (0.13, 0.3), (0.105, 0.4), (0.125, 0.52), (0, 0.56))
ARM = ((0.125, 0.2), (0.155, 0.22), (0.185, 0.38), (0.205, 0.52), (0.185, 0.53), (0.155, 0.4), (0.12, 0.27))
LEG = ((0.01, 0.53), (0.125, 0.52), (0.115, 0.72), (0.09, 0.95), (0.1, 0.99), (0.04, 0.99), (0.045, 0.75))
HEAD = (0.0, 0.085, 0.058, 0.075)
# Regions as quadrilaterals of the right half, seen from one side; the left is the mirror image.
AREAS = {
    "low back": (("back", ((0, 0.36), (0.1, 0.37), (0.11, 0.45), (0, 0.45))),),
    "buttock": (("back", ((0.005, 0.455), (0.118, 0.455), (0.124, 0.53), (0.005, 0.54))),),
    "thigh": (
        ("back", ((0.012, 0.55), (0.122, 0.54), (0.113, 0.72), (0.045, 0.73))),
        ("front", ((0.012, 0.56), (0.122, 0.53), (0.113, 0.71), (0.045, 0.73))),
    ),
    "lower leg": (
        ("back", ((0.047, 0.75), (0.112, 0.74), (0.092, 0.92), (0.043, 0.92))),
        ("front", ((0.047, 0.76), (0.112, 0.74), (0.092, 0.92), (0.043, 0.92))),
    ),
    "foot": (
        ("back", ((0.042, 0.93), (0.092, 0.93), (0.1, 0.99), (0.04, 0.99))),
        ("front", ((0.042, 0.93), (0.092, 0.93), (0.1, 0.99), (0.04, 0.99))),
    ),
    "groin": (("front", ((0.005, 0.5), (0.07, 0.48), (0.08, 0.54), (0.005, 0.56))),),
    "belly": (("front", ((0.0, 0.34), (0.112, 0.34), (0.11, 0.44), (0.0, 0.46))),),
    "chest wall": (
        ("front", ((0.0, 0.24), (0.125, 0.22), (0.115, 0.33), (0.0, 0.33))),
        ("back", ((0.0, 0.24), (0.125, 0.22), (0.115, 0.33), (0.0, 0.33))),
    ),
}


class BodyMap(Canvas):
    """Regions of a body; `picked` carries "right thigh" and the like where it was clicked.

    A region named without a side, like "low back", lies on both.

    Parameters
    ----------
    name : str
        What the map is about, like "Pain".
    """

    picked = Signal(str)

    def __init__(self, name):
        super().__init__(name)
        self.setMinimumSize(grid(160), grid(168))
        self.areas = {}

    def show_areas(self, areas):
        """Show {"right thigh": "pain" or "felt" or "both"}."""
        self.areas = dict(areas)
        self.setAccessibleDescription(", ".join(f"{name}: {kind}" for name, kind in areas.items()))
        self.update()

    def _frames(self, box):
        """Yield (view, x of the middle, top, height) of both outlines."""
        high = box.height() - grid(24)
        for index, view in enumerate(("front", "back")):
            yield view, box.left() + box.width() * (0.27 + 0.46 * index), box.top(), high

    def _outlines(self, name, frame):
        """Yield the polygons of a region like "right thigh" in one of the frames."""
        view, middle, top, high = frame
        side, _, area = name.partition(" ")
        sides = (side,)
        if side not in ("left", "right"):
            sides, area = ("left", "right"), name
        for one in sides:
            # From behind, the patient's left stands on the left, as in every picture.
            sign = (1 if one == "right" else -1) * (1 if view == "back" else -1)
            for seen, corners in AREAS.get(area, ()):
                if seen == view:
                    yield QPolygonF([QPointF(middle + sign * high * x, top + high * y) for x, y in corners])

    def mouseReleaseEvent(self, event):
        rule = Qt.FillRule.OddEvenFill
        for frame in self._frames(QRectF(self.rect())):
            for name in (f"{side} {area}" for area in AREAS for side in ("left", "right")):
                if any(shape.containsPoint(event.position(), rule) for shape in self._outlines(name, frame)):
                    self.picked.emit(name)

    def draw(self, painter, box):
        for frame in self._frames(box):
            view, middle, top, high = frame
            fill(painter, t.PRESSED)
            painter.drawPath(_figure(middle, top, high))
            for name, kind in self.areas.items():
                for shape in self._outlines(name, frame):
                    _hatch(painter, shape, kind)
            sides = ("L", "R") if view == "back" else ("R", "L")
            for word, sign in zip(sides, (-1, 1), strict=True):
                place = QRectF(middle + sign * 0.26 * high - 10, top + 0.2 * high, 20, grid(16))
                write(painter, place, word, role="label", ink=t.MUTED, align=CENTRE)
            below = QRectF(middle - 0.3 * high, top + high, 0.6 * high, grid(24))
            write(painter, below, say(view.capitalize()), role="label", ink=t.MUTED, align=CENTRE)


def _figure(middle, top, high):
    path = QPainterPath()
    path.setFillRule(Qt.FillRule.WindingFill)
    x, y, rx, ry = HEAD
    path.addEllipse(QPointF(middle + x * high, top + y * high), rx * high, ry * high)
    for part in (TRUNK, ARM, LEG):
        for sign in (1, -1):
            points = [QPointF(middle + sign * high * px, top + high * py) for px, py in part]
            path.addPolygon(QPolygonF(points if sign == 1 else points[::-1]))
    return path.simplified()


def _hatch(painter, shape, kind):
    """Pain leans one way, what is felt the other: told apart without colour."""
    if kind in ("pain", "both"):
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(colour(t.NEAR), Qt.BrushStyle.BDiagPattern))
        painter.drawPolygon(shape)
    if kind in ("felt", "both"):
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(colour(t.ACT), Qt.BrushStyle.FDiagPattern))
        painter.drawPolygon(shape)
    stroke(painter, t.NEAR if kind == "pain" else t.ACT, width=1)
    painter.drawPolygon(shape)
