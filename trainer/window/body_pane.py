"""The left picture: the see-through body in practice, the back in an assessment; turned by the mouse."""

from dataclasses import replace

import numpy as np
from PySide6.QtCore import QElapsedTimer, Qt, Signal

from meshes.levels import LEVELS
from trainer.window.lettering import text_width
from trainer.window.painting import write_over
from trainer.window.picture_frame import Marks, PictureFrame, ring

TURN_PER_PIXEL = 0.008  # [rad]
ZOOM = 1.12
HEIGHTS = (60.0, 420.0)  # [mm]
IN_MOTION = 0.6
FIRST_FRAMES, FAST_FRAME = 4, 0.012  # [s] at this pace the picture in motion need not be smaller
GRAB = 26  # [px] about the entry
RAY, RAY_STEP = 400.0, 4.0  # [mm]
BEHIND, ASIDE = 0.5, 1.05  # [rad] up to which azimuth a view counts as from behind; of one from the side


class BodyPane(PictureFrame):
    """A SpineScene in a pane; `entry_moved(x, z)` while the entry is dragged over the skin. [mm]

    Parameters
    ----------
    scene : SpineScene
    anatomy : meshes.anatomy.Anatomy
        For the names of the levels.
    motion_scale : float
        Size of the picture while things move, as a share of the pane: 1 where the graphics are fast.
    """

    entry_moved = Signal(float, float)

    def __init__(self, scene, anatomy, *, motion_scale=IN_MOTION):
        super().__init__("The back" if scene.back else "See-through body", whole=False)
        self.scene, self.motion_scale = scene, motion_scale
        self.names = [level for level in LEVELS if level in anatomy.poses]
        self.middles = np.array([anatomy.poses[level].translation for level in self.names])
        self.tip, self.entry, self.named = None, None, ()
        self.tissue, self.dragging = anatomy.tissue, False
        self.timed = []
        self.grabbed = None
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def look_from(self, side):
        """Look "behind", "left" or "right", at the same place."""
        azimuth = {"behind": 0.0, "left": ASIDE, "right": -ASIDE}[side]
        self.scene.view = replace(self.scene.view, azimuth=azimuth, elevation=0.0)
        self.draw_scene()

    def look_at(self, centre, *, height=None):
        """Move the picture to a point of the patient. [mm]"""
        height = self.scene.view.height if height is None else height
        self.scene.view = replace(self.scene.view, centre=tuple(float(c) for c in centre), height=height)

    def point_at(self, tip):
        """Ring a tip (3,) [mm], or nothing."""
        self.tip = None if tip is None else np.asarray(tip, float)

    def draw_scene(self, *, moving=False):
        """Draw the scene anew and show it."""
        if self.scene.closed:
            return
        ratio = self.devicePixelRatioF()
        wide, high = max(self.width() * ratio, 16), max(self.height() * ratio, 16)
        clock = QElapsedTimer()
        clock.start()
        pixels = self.scene.render(wide, high, scale=self.motion_scale if moving else 1.0)
        if not moving and len(self.timed) < FIRST_FRAMES:
            self._time(1e-9 * clock.nsecsElapsed())
        self.show_picture(pixels, self._marks(pixels.shape[0]))

    def _time(self, seconds):
        """Choose the quality step once the first whole pictures are timed; the very first builds shaders."""
        self.timed.append(seconds)
        if len(self.timed) == FIRST_FRAMES and min(self.timed[1:]) <= FAST_FRAME:
            self.motion_scale = 1.0

    def _marks(self, rows):
        view = self.scene.view
        aside = abs(_wrapped(view.azimuth)) > BEHIND
        left_seen = np.sin(view.azimuth) > 0.0
        title = "The back" if self.scene.back else "See-through"
        seen = ("from the left" if left_seen else "from the right") if aside else "from behind"
        sides = (("Front", "Back") if left_seen else ("Back", "Front")) if aside else ("L", "R")
        bar = 20 if view.height < 300 else 50
        return Marks(f"{title}, {seen}", sides=sides, pixels_per_mm=rows / view.height, bar=bar)

    def draw_over(self, painter, box):
        if not self.image:
            return
        aspect = self.image.width() / self.image.height()
        if not self.scene.back:
            spots = self.scene.view.shares(self.middles, aspect=aspect)
            side = self._name_side(spots)
            for name, (_, v) in zip(self.names, spots, strict=True):
                spot = self.spot(side, v)
                if box.adjusted(30, 70, -30, -44).contains(spot):
                    write_over(painter, spot, name)
        if self.entry is not None and self.tip is None:
            u, v = self.scene.view.shares(self.entry[None], aspect=aspect)[0]
            ring(painter, self.spot(u, v))
        if self.tip is not None:
            u, v = self.scene.view.shares(self.tip[None], aspect=aspect)[0]
            ring(painter, self.spot(u, v))

        self._write_names(painter, box, aspect)

    def _write_names(self, painter, box, aspect):
        """Write what is named at its point, inside the picture and never one name over another."""
        taken = box.bottom() - 40
        for point, words in self.named:
            u, v = self.scene.view.shares(np.asarray(point)[None], aspect=aspect)[0]
            spot = self.spot(float(u), float(v))
            room = box.adjusted(text_width(words, "strong") + 8, 48, -text_width(words, "strong") - 8, 0)
            spot.setX(min(max(spot.x(), room.left()), room.right()))
            spot.setY(min(max(spot.y(), room.top()), taken))
            taken = spot.y() - 24
            write_over(painter, spot, words)

    def _name_side(self, spots):
        """Return the share of the width at which the column of names stands: beside the bodies."""
        plate = max(text_width(word, "strong") for word in self.marks.sides) + 16
        room = (plate + text_width("T12", "strong")) / max(self.place.width(), 1.0)
        return float(np.clip(spots[:, 0].min() - 0.16, room, 0.9))

    def resizeEvent(self, event):
        super().resizeEvent(event)
        if self.isVisible():
            self.draw_scene()

    def showEvent(self, event):
        super().showEvent(event)
        self.draw_scene()

    def skin_under(self, spot):
        """Return (x, z) of the skin of the back under a place on the widget, or None beside it. [mm]"""
        if not self.image:
            return None
        u, v = self.share(spot)
        view = self.scene.view
        right, up, towards = view.axes()
        wide = view.height * self.image.width() / self.image.height()
        start = np.asarray(view.centre) + (u - 0.5) * wide * right + (0.5 - v) * view.height * up
        ways = np.arange(RAY, -RAY, -RAY_STEP)
        points = start + ways[:, None] * towards
        height = points[:, 1] - self.tissue.skin(points[:, 0], points[:, 2])
        through = np.flatnonzero((height[:-1] > 0.0) & (height[1:] <= 0.0))
        if not len(through):
            return None
        k = through[0]
        share = height[k] / (height[k] - height[k + 1])
        x, _, z = points[k] + share * (points[k + 1] - points[k])
        return float(x), float(z)

    def _near_entry(self, spot):
        if self.entry is None or not self.image:
            return False
        aspect = self.image.width() / self.image.height()
        at = self.spot(*self.scene.view.shares(self.entry[None], aspect=aspect)[0])
        return np.hypot(at.x() - spot.x(), at.y() - spot.y()) < GRAB

    def mousePressEvent(self, event):
        self.dragging = event.button() == Qt.MouseButton.LeftButton and self._near_entry(event.position())
        self.grabbed = event.position()
        self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event):
        if self.grabbed is None:
            return
        if self.dragging:
            found = self.skin_under(event.position())
            if found is not None:
                self.entry_moved.emit(*found)
            return
        moved = event.position() - self.grabbed
        self.grabbed = event.position()
        if event.buttons() & Qt.MouseButton.RightButton:
            right, up, _ = self.scene.view.axes()
            size = self.scene.view.height / max(self.height(), 1)
            centre = np.asarray(self.scene.view.centre) + size * (moved.y() * up - moved.x() * right)
            self.look_at(centre)
        else:
            turned = self.scene.view.turned(moved.x() * TURN_PER_PIXEL, moved.y() * TURN_PER_PIXEL)
            self.scene.view = turned
        self.draw_scene(moving=True)

    def mouseReleaseEvent(self, event):
        del event
        self.grabbed, self.dragging = None, False
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.draw_scene()

    def wheelEvent(self, event):
        factor = ZOOM ** (-event.angleDelta().y() / 120.0)
        height = float(np.clip(self.scene.view.height * factor, *HEIGHTS))
        self.scene.view = replace(self.scene.view, height=height)
        self.draw_scene()


def _wrapped(angle):
    return (angle + np.pi) % (2.0 * np.pi) - np.pi
