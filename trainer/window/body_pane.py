"""The left picture: the see-through body in practice, the back in an assessment; turned by the mouse."""

from dataclasses import replace

import numpy as np
from PySide6.QtCore import Qt

from meshes.levels import LEVELS
from trainer.window.lettering import text_width
from trainer.window.painting import write_over
from trainer.window.picture_frame import Marks, PictureFrame, ring

TURN_PER_PIXEL = 0.008  # [rad]
ZOOM = 1.12
HEIGHTS = (60.0, 420.0)  # [mm]
IN_MOTION = 0.6
BEHIND, ASIDE = 0.5, 1.05  # [rad] up to which azimuth a view counts as from behind; of one from the side


class BodyPane(PictureFrame):
    """A SpineScene in a pane.

    Parameters
    ----------
    scene : SpineScene
    anatomy : meshes.anatomy.Anatomy
        For the names of the levels.
    motion_scale : float
        Size of the picture while things move, as a share of the pane: 1 where the graphics are fast.
    """

    def __init__(self, scene, anatomy, *, motion_scale=IN_MOTION):
        super().__init__("The back" if scene.back else "See-through body", whole=False)
        self.scene, self.motion_scale = scene, motion_scale
        self.names = [level for level in LEVELS if level in anatomy.poses]
        self.middles = np.array([anatomy.poses[level].translation for level in self.names])
        self.tip = None
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
        pixels = self.scene.render(wide, high, scale=self.motion_scale if moving else 1.0)
        self.show_picture(pixels, self._marks(pixels.shape[0]))

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
        if self.tip is not None:
            u, v = self.scene.view.shares(self.tip[None], aspect=aspect)[0]
            ring(painter, self.spot(u, v))

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

    def mousePressEvent(self, event):
        self.grabbed = event.position()
        self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event):
        if self.grabbed is None:
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
        self.grabbed = None
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.draw_scene()

    def wheelEvent(self, event):
        factor = ZOOM ** (-event.angleDelta().y() / 120.0)
        height = float(np.clip(self.scene.view.height * factor, *HEIGHTS))
        self.scene.view = replace(self.scene.view, height=height)
        self.draw_scene()


def _wrapped(angle):
    return (angle + np.pi) % (2.0 * np.pi) - np.pi
