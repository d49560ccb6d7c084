"""A picture with what belongs in every picture: name, sides, head, millimetre scale, state, counters."""

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QImage, QPainterPath, QPen

from trainer.window import tokens as t
from trainer.window.canvas import Canvas
from trainer.window.lettering import grid, say, text_width
from trainer.window.painting import (
    LEFT,
    RIGHT,
    arrow_head,
    colour,
    fill,
    plate,
    write,
    write_over,
)

MARGIN = 12


@dataclass(frozen=True)
class Marks:
    """What stands in a picture.

    Parameters
    ----------
    title : str
    sides : (str, str)
        At the left and right edge, like ("L", "R") or ("Front", "Back").
    head : bool
        Whether the head is up; an axial slice has none.
    state : (str, str) or None
        "live" or "held" and its words.
    corner : str
        Counters, at the bottom right.
    levels : tuple of (str, float, float)
        Name and place as shares of the picture, 0 to 1.
    pixels_per_mm : float or None
        Of the picture as painted at its own size; no scale is drawn where None.
    bar : int
        Length of the scale. [mm]
    """

    title: str = ""
    sides: tuple = ("L", "R")
    head: bool = True
    state: tuple | None = None
    corner: str = ""
    levels: tuple = ()
    pixels_per_mm: float | None = None
    bar: int = 20


class PictureFrame(Canvas):
    """Paints an image and its marks.

    Parameters
    ----------
    whole : bool
        Show the whole image on black (X-ray, slices) instead of filling the pane (3D).
    small : bool
        A thumbnail: no words but the sides.
    """

    def __init__(self, name, *, whole, small=False):
        super().__init__(name)
        self.whole, self.small = whole, small
        self.image, self.marks = None, Marks()
        self.place = QRectF()

    def sizeHint(self):
        return QSize(200, 160)

    def show_picture(self, pixels, marks, *, at_once=False):
        """Show an image: (rows, columns) grey or (rows, columns, 3) colours, uint8; None empties the pane.

        Parameters
        ----------
        at_once : bool
            Paint before returning: the X-ray comes before slower pictures.
        """
        self.image = None if pixels is None else as_image(pixels)
        self.show_marks(marks)
        if at_once:
            self.repaint()
        else:
            self.update()

    def show_marks(self, marks):
        if marks != self.marks:
            self.marks = marks
            self.setAccessibleDescription(f"{marks.title}. {marks.state[1] if marks.state else ''}")
            self.update()

    def spot(self, u, v):
        """Return the place on the widget of a share of the picture. [px]"""
        return QPointF(self.place.left() + u * self.place.width(), self.place.top() + v * self.place.height())

    def share(self, spot):
        """Return the share of the picture at a place on the widget; the inverse of `spot`."""
        wide, high = max(self.place.width(), 1e-9), max(self.place.height(), 1e-9)
        return (spot.x() - self.place.left()) / wide, (spot.y() - self.place.top()) / high

    def _fit(self, box):
        wide, high = self.image.width(), self.image.height()
        size = (min if self.whole else max)(box.width() / wide, box.height() / high)
        wide, high = wide * size, high * size
        return QRectF(box.center().x() - wide / 2, box.center().y() - high / 2, wide, high)

    def draw(self, painter, box):
        clip = QPainterPath()
        clip.addRoundedRect(box, t.SMALL_RADIUS, t.SMALL_RADIUS)
        painter.setClipPath(clip)
        painter.fillRect(box, Qt.GlobalColor.black if self.whole and self.image else colour(t.GROUND))
        self.place = self._fit(box) if self.image else box
        if self.image:
            painter.drawImage(self.place, self.image)
        self.draw_over(painter, box)
        self._draw_levels(painter, box)
        self._draw_sides(painter, box)
        taken, free = self._draw_title_and_state(painter, box)
        if self.marks.head:
            self._draw_head(painter, box, taken=taken, free=free)
        if self.marks.pixels_per_mm and self.image:
            self._draw_scale(painter, box)
        if self.marks.corner and not self.small:
            spot = QPointF(box.right() - MARGIN, box.bottom() - MARGIN - 6)
            write_over(painter, spot, say(self.marks.corner), align=RIGHT)

    def draw_over(self, painter, box):
        """Paint on the picture, below the marks; panes with rings, boxes and rulers override it."""

    def _draw_levels(self, painter, box):
        for name, u, v in () if self.small else self.marks.levels:
            spot = self.spot(u, v)
            if (
                box.top() + 48 < spot.y() < box.bottom() - 48
                and box.left() + 40 < spot.x() < box.right() - 40
            ):
                write_over(painter, spot, name)

    def _draw_sides(self, painter, box):
        high = grid(24)
        for side, word in zip(("left", "right"), self.marks.sides, strict=True):
            words = say(word) if len(word) > 1 else word
            wide = max(high, text_width(words, "strong") + 12)
            left = box.left() + 4 if side == "left" else box.right() - 4 - wide
            plate(painter, QRectF(left, box.center().y() - high / 2, wide, high), words)

    def _draw_title_and_state(self, painter, box):
        """Return where the title ends and where the state begins on the first line. [px]"""
        if self.small:
            return box.left() + MARGIN, box.right() - MARGIN
        y = box.top() + grid(16) + 3
        title = say(self.marks.title)
        write_over(painter, QPointF(box.left() + MARGIN, y), title, align=LEFT)
        taken = box.left() + MARGIN + text_width(title, "strong")
        if not self.marks.state:
            return taken, box.right() - MARGIN
        kind, words = self.marks.state
        start = box.right() - MARGIN - text_width(say(words), "strong") - 24
        line = y if start > taken + 16 else y + grid(24)
        write_over(painter, QPointF(start + 24, line), say(words), align=LEFT)
        _state_sign(painter, QPointF(start + 10, line), kind)
        return taken, start if line == y else box.right() - MARGIN

    def _draw_head(self, painter, box, *, taken, free):
        if self.small:
            arrow_head(painter, QPointF(box.center().x(), box.top() + 12), 11, direction="up")
            return
        y, high = box.top() + grid(16) + 3, grid(24)
        wide = text_width(say("Head"), "strong") + 32
        left = box.center().x() - wide / 2
        if left < taken + 12 or left + wide > free - 12:
            left, y = box.left() + MARGIN - 4, y + high + 4
        fill(painter, t.GROUND, alpha=190)
        painter.drawRoundedRect(QRectF(left, y - high / 2, wide, high), 3, 3)
        arrow_head(painter, QPointF(left + 12, y), 11, direction="up")
        write(painter, QRectF(left + 24, y - high / 2, wide - 26, high), say("Head"), role="strong")

    def _draw_scale(self, painter, box):
        shown = self.place.width() / self.image.width()
        length = self.marks.bar * self.marks.pixels_per_mm * shown
        left, y = box.left() + MARGIN, box.bottom() - MARGIN - 2
        for pen, wide in ((colour(t.GROUND, 225), 6), (colour(t.CHALK), 2)):
            painter.setPen(QPen(pen, wide, Qt.PenStyle.SolidLine, Qt.PenCapStyle.SquareCap))
            painter.drawLine(QPointF(left, y), QPointF(left + length, y))
            for share, high in ((0.0, 6), (0.5, 3), (1.0, 6)):
                at = left + length * share
                painter.drawLine(QPointF(at, y - high), QPointF(at, y))
        if not self.small:
            spot = QPointF(left + length + 10, y - 4)
            write_over(painter, spot, f"{self.marks.bar}\u00a0mm", align=LEFT)


def _state_sign(painter, spot, kind):
    if kind == "live":
        fill(painter, t.NEAR)
        painter.drawEllipse(spot, 6, 6)
    else:
        fill(painter, t.CHALK)
        for across in (-4, 2):
            painter.drawRect(QRectF(spot.x() + across, spot.y() - 6, 3.4, 12))


def ring(painter, spot, *, radius=10):
    """Draw the ring of a tip over a picture."""
    for ink, wide in ((t.GROUND, 5), (t.CHALK, 2)):
        painter.setPen(QPen(colour(ink), wide))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawEllipse(spot, radius, radius)


def as_image(pixels):
    """Return a QImage that owns its pixels, from (rows, columns) or (rows, columns, 3) uint8.

    Raises
    ------
    ValueError
        If the pixels have another shape or type.
    """
    if pixels.dtype != "uint8" or pixels.ndim not in (2, 3) or (pixels.ndim == 3 and pixels.shape[2] != 3):
        raise ValueError(
            f"pixels must be (rows, columns) or (rows, columns, 3) uint8, got {pixels.shape} {pixels.dtype}: "
            "scale the picture to 0..255 first"
        )
    high, wide = pixels.shape[:2]
    grey = pixels.ndim == 2
    kind = QImage.Format.Format_Grayscale8 if grey else QImage.Format.Format_RGB888
    flat = pixels if pixels.flags.c_contiguous else pixels.copy()
    return QImage(flat.data, wide, high, wide * (1 if grey else 3), kind).copy()
