"""A planning slice: scrolled by the wheel, measured by dragging."""

from dataclasses import replace

import numpy as np
from PySide6.QtCore import QPointF, Qt, QTimer, Signal
from PySide6.QtGui import QPen

from meshes.levels import LEVELS
from trainer.physics.slice_picture import cut, slice_picture
from trainer.window import tokens as t
from trainer.window.painting import colour, write_over
from trainer.window.picture_frame import Marks, PictureFrame
from trainer.window.state_words import level_words, millimetres

SCROLL = 1.0  # [mm] a notch of the wheel
PLANES = {"sagittal": ("Front", "Back"), "axial": ("R", "L"), "coronal": ("R", "L")}
DRAG_LEAST = 4.0  # [px]


class SlicePane(PictureFrame):
    """Shows a SlicePlane of an anatomy.

    `moved(plane)` after a scroll, `measured(millimetres, from, to)` with the tissues at both ends,
    `pointed(tissue, point)` under the mouse, `placed(point)` for a click. Points in the patient's frame. [mm]
    """

    moved = Signal(object)
    measured = Signal(float, str, str)
    pointed = Signal(str, object)
    placed = Signal(object)

    def __init__(self, anatomy, plane, *, title, seed=0):
        super().__init__(title, whole=True)
        self.anatomy, self.plane, self.title, self.seed = anatomy, plane, title, seed
        self.appearance, self.section = "t2", None
        self.first, self.last = None, None
        self.line = None
        self.waiting = QTimer(self)
        self.waiting.setSingleShot(True)
        self.waiting.setInterval(0)
        self.waiting.timeout.connect(self.draw_slice)
        self.setMouseTracking(True)

    def show_plane(self, plane, *, title=None):
        """Show another plane; drawn once when the event loop comes round."""
        self.plane = plane
        self.title = title or self.title
        self.waiting.start()

    def show_appearance(self, appearance):
        """Show as "t2" or "ct"."""
        self.appearance = appearance
        self.waiting.start()

    def draw_slice(self):
        """Compute the slice and show it."""
        self.section = cut(self.anatomy, self.plane, appearance=self.appearance)
        pixels = slice_picture(self.section, rng=self.seed)
        self.show_picture(pixels, self._marks())

    def _marks(self):
        levels = ()
        if self.plane.name == "sagittal":
            levels = tuple(self._level(name) for name in LEVELS if name in self.anatomy.poses)
        return Marks(
            self.title, sides=PLANES.get(self.plane.name, ("", "")), head=self.plane.name != "axial",
            levels=levels, pixels_per_mm=1.0 / self.plane.pitch, bar=50 if self.plane.rows > 500 else 20,
        )  # fmt: skip

    def _level(self, name):
        column, row = self.plane.picture_point(self.anatomy.poses[name].translation)
        return name, column / self.plane.columns, row / self.plane.rows

    def show_line(self, plane):
        """Draw where another plane cuts this one; None for none."""
        self.line = plane
        self.update()

    def point_at(self, spot):
        """Return the patient's point (3,) under a place of the widget [mm], and its column and row."""
        u, v = self.share(spot)
        place = np.array([u * self.plane.columns, v * self.plane.rows])
        return self.plane.patient_point(place), place

    def tissue_at(self, place):
        """Return the name of the tissue at a column and row, "" outside the picture."""
        column, row = place
        inside = 0 <= column < self.plane.columns and 0 <= row < self.plane.rows
        return self.section.tissue_at(column, row).replace("_", " ") if inside and self.section else ""

    def draw_over(self, painter, box):
        del box
        if self.line is not None and self.image:
            self._draw_line(painter)
        if self.first is not None and self.last is not None:
            ends = [self._spot_of(place) for place in (self.first, self.last)]
            for ink, wide in ((t.GROUND, 5), (t.ACT, 2)):
                painter.setPen(QPen(colour(ink), wide))
                painter.drawLine(*ends)
            length = self.plane.ruler(self.first, self.last)
            middle = 0.5 * (ends[0] + ends[1]) + QPointF(0, 18)
            write_over(painter, middle, millimetres(length))

    def _spot_of(self, place):
        return self.spot(place[0] / self.plane.columns, place[1] / self.plane.rows)

    def _draw_line(self, painter):
        _, row = self.plane.picture_point(self.line.centre)
        y = self.spot(0.0, row / self.plane.rows).y()
        painter.setPen(QPen(colour(t.ACT), 1.4, Qt.PenStyle.DashLine))
        painter.drawLine(QPointF(self.place.left() + 8, y), QPointF(self.place.right() - 8, y))

    def wheelEvent(self, event):
        notches = event.angleDelta().y() / 120.0
        if notches:
            self.scroll(notches * SCROLL)

    def scroll(self, millimetres_along):
        """Go to the head, to the patient's left or to the back with a positive way."""
        axis = {"sagittal": 0, "coronal": 1}.get(self.plane.name, 2)
        centre = self.plane.centre.copy()
        if axis == 2:
            centre = self._along_canal(centre, millimetres_along)
        else:
            centre[axis] += millimetres_along
        self.show_plane(replace(self.plane, centre=centre))
        self.moved.emit(self.plane)

    def _along_canal(self, centre, way):
        axis = self.anatomy.canal.centre
        moved = centre.copy()
        moved[2] = np.clip(centre[2] + way, axis[:, 2].min(), axis[:, 2].max())
        before, after = (np.array([np.interp(z, axis[:, 2], axis[:, k]) for k in (0, 1)])
                         for z in (centre[2], moved[2]))  # fmt: skip
        moved[:2] += after - before
        return moved

    def mousePressEvent(self, event):
        self.pressed_at = event.position()
        self.first = self.point_at(event.position())[1]
        self.last = None

    def mouseMoveEvent(self, event):
        point, place = self.point_at(event.position())
        if event.buttons() and self.first is not None:
            self.last = place
            self.update()
        else:
            self.pointed.emit(self.tissue_at(place), point)

    def mouseReleaseEvent(self, event):
        away = event.position() - self.pressed_at
        point, place = self.point_at(event.position())
        if away.manhattanLength() < DRAG_LEAST:
            self.first = self.last = None
            self.placed.emit(point)
        else:
            self.last = place
            length = self.plane.ruler(self.first, place)
            self.measured.emit(length, self.tissue_at(self.first), self.tissue_at(place))
        self.update()


def nearest_level(anatomy, point):
    """Return the words of the level or interspace nearest to a point of the patient. [mm]"""
    names = [name for name in LEVELS if name in anatomy.poses]
    heights = np.array([anatomy.poses[name].translation[2] for name in names])
    return level_words(names[int(np.argmin(np.abs(heights - point[2])))])
