"""The controls of the C-arm: they stand under its picture, the same in every phase."""

from dataclasses import asdict, replace

from PySide6.QtCore import QObject, Signal

from meshes.units import degrees, radians
from trainer.attempt import events as e
from trainer.attempt.state import Pose
from trainer.window.canvas import panel, row
from trainer.window.controls import Button, Segments, Stepper
from trainer.window.shortcuts import key_of

SQUARE, SIDE, OBLIQUE = range(3)
OBLIQUE_ORBIT = radians(50.0)
TURN_RATE, TRAVEL_RATE = radians(24.0), 60.0  # [rad/s], [mm/s] while held
STEP = radians(1.0)
VIEW_WORDS = ("Square on", "Side", "Oblique")
HELD = {
    "tilt to head": ("tilt", 1.0),
    "tilt to feet": ("tilt", -1.0),
    "swing left": ("orbit", -1.0),
    "swing right": ("orbit", 1.0),
    "travel up": ("along", 1.0),
    "travel down": ("along", -1.0),
}


class CArmBar(QObject):
    """Moves the C-arm of a session and takes its pictures.

    `live_wanted(bool)` follows the pedal, `picture_wanted()` the button; the page turns them into events.
    """

    live_wanted = Signal(bool)
    picture_wanted = Signal()

    def __init__(self, session, *, left_handed=False):
        super().__init__()
        self.session = session

        def key(action):
            return key_of(action, "needle", left_handed=left_handed)

        self.views = Segments("View", VIEW_WORDS, chosen=None)
        self.views.chosen_changed.connect(self.look)
        self.tilt = Stepper("Tilt", keys=(key("tilt to feet"), key("tilt to head")))
        self.tilt.stepped.connect(lambda way: self.move("tilt", way * STEP))
        self.swing = Stepper("Swing", keys=(key("swing left"), key("swing right")))
        self.swing.stepped.connect(lambda way: self.move("orbit", way * STEP))
        self.one = Button("One picture", key=key("one picture"))
        self.one.clicked.connect(self.picture_wanted)
        self.live = Button("Live", key=key("live"))
        self.live.setToolTip("The beam is on for as long as it is held.")
        self.live.pressed.connect(lambda: self.live_wanted.emit(True))
        self.live.released.connect(lambda: self.live_wanted.emit(False))
        self.widget = panel(
            row((self.views, 3), (self.one, 2), gap=12),
            row((self.swing, 4), (self.tilt, 4), (self.live, 3), gap=12),
            margin=12,
        )
        self.show_pose(session.state.room.pose)

    @property
    def pose(self):
        """The present Pose, or the one that the first movement starts from."""
        state = self.session.state
        centre = state.plan.interspace or state.scenario.task.interspace
        return state.room.pose or Pose(0.0, 0.0, centre)

    def look(self, view):
        """Turn to one of the three views; the oblique one swings away from the needle's side."""
        pose = self.pose
        side = 1.0 if self.session.state.plan.side == "left" else -1.0
        orbit = {SQUARE: 0.0, SIDE: radians(90.0), OBLIQUE: side * OBLIQUE_ORBIT}[view]
        self._set(replace(pose, orbit=orbit, tilt=pose.tilt if view == SQUARE else 0.0))

    def move(self, motion, step, *, joined=False):
        """Move by an angle [rad] or a way [mm]; at its limit the C-arm stays and the sentence is told."""
        pose = self.pose
        self._set(replace(pose, **{motion: getattr(pose, motion) + step}), joined=joined)

    def hold(self, action, seconds, *, fine):
        """Move for a tick of a held key; returns whether the action is one of the C-arm's."""
        if action not in HELD:
            return False
        motion, way = HELD[action]
        rate = (TRAVEL_RATE if motion == "along" else TURN_RATE) * (0.25 if fine else 1.0)
        self.move(motion, way * rate * seconds, joined=True)
        return True

    def _set(self, pose, *, joined=False):
        self.session.do(e.SetCArm(**asdict(pose)), joined=joined)

    def show_pose(self, pose):
        """Show where the C-arm stands."""
        if pose is None:
            self.views.choose(None, tell=False)
            self.tilt.show_value("0°")
            self.swing.show_value("0°")
            return
        orbit = degrees(pose.orbit)
        near = {SQUARE: 0.0, SIDE: 90.0, OBLIQUE: 50.0}
        chosen = next((view for view, angle in near.items() if abs(abs(orbit) - angle) < 0.5), None)
        self.views.choose(chosen, tell=False)
        self.tilt.show_value(f"{round(degrees(pose.tilt)) + 0:d}°")
        self.swing.show_value(f"{round(orbit) + 0:d}°")
