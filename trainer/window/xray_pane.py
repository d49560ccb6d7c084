"""The right picture: the X-ray as it was taken, live while the pedal is down, held afterwards."""

import numpy as np
from PySide6.QtCore import QElapsedTimer, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QPen

from trainer.attempt.picture_acts import c_arm, collimation
from trainer.physics.xray_display import Display
from trainer.physics.xray_marks import side_names
from trainer.records.pictures import tools_of
from trainer.window import tokens as t
from trainer.window.lettering import say
from trainer.window.painting import colour, write_over
from trainer.window.picture_frame import Marks, PictureFrame

FRAME_MS = 66
# The pane draws sides, head and scale itself, sharp at any size.
BARE = Display(marked=False)
VIEW_WORDS = (
    (0.35, "from behind"),
    (1.2, "oblique"),
    (2.0, "from the side"),
)


class XrayPane(PictureFrame):
    """Shows single pictures and live view of a session.

    `clicked_at` carries the place of a click as shares of the picture: levels are marked there.

    Parameters
    ----------
    chain : trainer.physics.xray_picture.PictureChain
    session : trainer.window.session.Session
    """

    clicked_at = Signal(float, float)

    def __init__(self, chain, session):
        super().__init__("X-ray", whole=True)
        self.chain, self.session = chain, session
        self.screen, self.live = None, False
        self.carm = None
        self.held_for = QElapsedTimer()
        self.frames = 0
        self.goal = None
        self.since_frame, self.cost = QElapsedTimer(), 0.0
        self.pace = QTimer(self)
        self.pace.setInterval(FRAME_MS)
        self.pace.timeout.connect(self.draw_live)
        self.second = QTimer(self)
        self.second.setInterval(1000)
        self.second.timeout.connect(self._show_marks)
        self.second.start()

    @property
    def state(self):
        return self.session.state

    def take(self):
        """Show the picture that the last event has taken."""
        room = self.state.room
        self.carm = c_arm(self.state.anatomy, room.shown)
        rng = np.random.default_rng([self.state.seed, room.images])
        frame = self.chain.shot(
            self.carm, tools_of(self.state), rng=rng, collimation=collimation(room.shown), display=BARE
        )
        self.held_for.restart()
        self.show_picture(frame.picture, self._marks(), at_once=True)

    def begin_live(self):
        """Go on with frames until `end_live`."""
        self.live, self.screen, self.frames = True, None, 0
        self.noise = np.random.default_rng([self.state.seed, self.state.room.images, 1])
        self.draw_live()
        self.pace.start()

    def end_live(self):
        """Hold the last frame."""
        self.live = False
        self.pace.stop()
        self.held_for.restart()
        self._show_marks()

    def follow_live(self):
        """Draw a live frame for something that has moved, unless that would take more than half the time."""
        if self.live and self.since_frame.elapsed() >= 1000.0 * self.cost:
            self.draw_live()

    def draw_live(self):
        """Draw the next live frame now."""
        if not self.live:
            return
        clock = QElapsedTimer()
        clock.start()
        self.carm = c_arm(self.state.anatomy, self.state.room.pose)
        frame = self.chain.live(
            self.carm,
            tools_of(self.state),
            rng=self.noise,
            before=self.screen,
            collimation=collimation(self.state.room.pose),
            display=BARE,
        )
        self.screen = frame.screen
        self.frames += 1
        self.show_picture(frame.picture, self._marks(), at_once=True)
        self.cost = clock.elapsed() / 1000.0
        self.since_frame.restart()
        # On a slow machine frames come more slowly; the hand's events never queue behind them.
        self.pace.setInterval(max(FRAME_MS, round(2000.0 * self.cost)))

    def show_again(self):
        """Show the held picture as the state says, for a resumed attempt or after an undo."""
        if self.state.room.shown is None:
            self.carm = None
            self.show_picture(None, self._marks())
        else:
            self.take()

    def _show_marks(self):
        if self.image:
            self.show_marks(self._marks())

    def _marks(self):
        if self.carm is None:
            return Marks("X-ray: no picture yet", sides=("L", "R"), head=False)
        words = next((word for limit, word in VIEW_WORDS if abs(self.carm.orbit) < limit), "from the side")
        room = self.state.room
        seconds = int(self.held_for.elapsed() / 1000) if self.held_for.isValid() else 0
        state = ("live", "Live") if self.live else ("held", f"Held {seconds // 60}:{seconds % 60:02d}")
        plural = "" if room.images == 1 else "s"
        counters = f"{room.images} picture{plural}, {room.seconds:.0f} s, {room.kerma:.1f} mGy"
        return Marks(
            f"X-ray, {words}",
            sides=side_names(self.carm),
            state=state,
            corner=counters,
            pixels_per_mm=self.carm.pixels_per_mm,
        )

    def show_goal(self, corners):
        """Outline the goal by its corners (n, 3) in the patient's frame [mm], or nothing; practice only."""
        self.goal = corners
        self.update()

    def draw_over(self, painter, box):
        del box
        if self.goal is None or self.carm is None or not self.image:
            return
        columns, rows, _ = self.carm.project(self.goal)
        n = self.carm.pixels
        first = self.spot(float(columns.min()) / n, float(rows.min()) / n)
        last = self.spot(float(columns.max()) / n, float(rows.max()) / n)
        pen = QPen(colour(t.ACT), t.STROKE, Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(QRectF(first, last), 4, 4)
        spot = self.spot(float(columns.max()) / n, float(rows.min()) / n)
        spot.setX(spot.x() + 30)
        spot.setY(spot.y() + 8)
        write_over(painter, spot, say("Goal"))

    def mouseReleaseEvent(self, event):
        u, v = self.share(event.position())
        if self.image and 0.0 <= u <= 1.0 and 0.0 <= v <= 1.0:
            self.clicked_at.emit(u, v)
