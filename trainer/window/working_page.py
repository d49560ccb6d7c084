"""The two pictures, the C-arm under its picture, and the column of the present phase."""

import numpy as np
from PySide6.QtCore import QElapsedTimer, QTimer, Signal
from PySide6.QtWidgets import QStackedWidget, QWidget

from trainer.attempt import events as e
from trainer.attempt.picture_acts import c_arm
from trainer.attempt.state import Pose
from trainer.physics.xray_choice import rasteriser_for
from trainer.physics.xray_picture import PictureChain
from trainer.records.way_in import ideal_corridor
from trainer.window.body_pane import IN_MOTION, BodyPane
from trainer.window.canvas import column, row
from trainer.window.carm_bar import CArmBar
from trainer.window.held_keys import HeldKeys
from trainer.window.instruments_shown import show_instruments
from trainer.window.lead_column import LeadColumn
from trainer.window.needle_column import NeedleColumn
from trainer.window.picture_column import PictureColumn
from trainer.window.scene import SpineScene
from trainer.window.state_words import picture_readings
from trainer.window.wanted import goal_corners
from trainer.window.what_next_column import WhatNextColumn, open_complication
from trainer.window.work import Work
from trainer.window.xray_pane import XrayPane

WORKING = ("picture", "needle", "lead")
# The 3D picture waits for the X-ray: it is drawn when the events of this tick are done. [ms]
SCENE_AFTER_MS = 1
STILL_AFTER_MS = 120
MEASURED_PIXELS = 256


def page_of(state):
    """Return whose controls a state of a working phase needs: a phase's, or "what next".

    A second needle is held to the skin first, as the first one was.
    """
    if open_complication(state) is not None:
        return "what next"
    if state.phase == "needle" and state.needle_depth is None:
        return "picture"
    return state.phase


class WorkingPage(QWidget):
    """Pictures, C-arm and columns of the picture, needle and lead phases.

    `said(sentence)` for the strip; `asked(action)` for keys that are the whole page's.
    """

    said = Signal(str)
    asked = Signal(str)

    def __init__(self, session, ready, *, left_handed=False):
        super().__init__()
        self.session, self.left_handed = session, left_handed
        scene = SpineScene(ready.meshes, back=ready.back)
        self.body = BodyPane(scene, ready.anatomy, motion_scale=IN_MOTION)
        self.xray = XrayPane(_chain(ready, session.state), session)
        self.carm = CArmBar(session, left_handed=left_handed)
        self.columns = {
            "picture": PictureColumn(session, left_handed=left_handed),
            "needle": NeedleColumn(session, left_handed=left_handed),
            "lead": LeadColumn(session, left_handed=left_handed),
            "what next": WhatNextColumn(session, left_handed=left_handed),
        }
        self.side = QStackedWidget()
        for part in self.columns.values():
            self.side.addWidget(part)
            part.said.connect(self.said)
        self.side.setFixedWidth(next(iter(self.columns.values())).width())
        right = column((self.xray, 1), self.carm.widget, gap=8)
        self.setLayout(row((self.body, 1), (right, 1), self.side, gap=8))
        self.keys = {}
        self.live_since = QElapsedTimer()
        self.moving = False
        self.wanted = False
        self.wanted_for, self.finding, self.left = None, None, False
        self.settle = QTimer(self)
        self.settle.setSingleShot(True)
        self.settle.setInterval(STILL_AFTER_MS)
        self.settle.timeout.connect(self._still)
        self._connect()
        self.phase = None

    def _connect(self):
        self.session.changed.connect(self.show_change)
        self.session.refused.connect(self.said)
        self.carm.picture_wanted.connect(self.take_picture)
        self.carm.live_wanted.connect(self.go_live)
        self.xray.clicked_at.connect(self._clicked)
        self.columns["picture"].aimed.connect(self.refresh_scene)
        self.body.entry_moved.connect(self.columns["picture"].move_entry)
        for name in ("needle", "lead"):
            part = self.columns[name]
            for button, action in ((part.forward, "advance"), (part.back, "withdraw")):
                button.pressed.connect(lambda n=name, a=action: self.keys[n].hold(a, True))
                button.released.connect(lambda n=name, a=action: self.keys[n].hold(a, False))

    @property
    def column(self):
        """The column of the present phase."""
        return self.columns[self.phase]

    def enter(self, phase):
        """Show the column of a working phase and let its keys act."""
        if phase == self.phase:
            return
        if self.phase in self.keys:
            self.keys[self.phase].drop()
        self.phase = phase
        self.side.setCurrentWidget(self.columns[phase])
        if phase not in self.keys:
            self.keys[phase] = HeldKeys(self, phase, left_handed=self.left_handed)
            self.keys[phase].ticked.connect(self._tick)
            self.keys[phase].acted.connect(self._act)
            self.keys[phase].let_go.connect(self._let_go)
        for name, keys in self.keys.items():
            keys.enabled = name == phase
            if name != phase:
                keys.drop()
        if phase == "picture":
            self.columns["picture"].begin()
        if phase != "what next":
            self._look(phase)
            if self.session.practice:
                self._show_wanted(phase)
        self.column.show_state(None, self.session.state)
        self.refresh_scene()

    def _look(self, phase):
        """Choose what the left picture looks at: the way in from the side, the lead from behind."""
        state = self.session.state
        anatomy, task = state.anatomy, state.scenario.task
        entry = anatomy.canal.interspaces[state.plan.interspace or task.interspace]
        low = anatomy.canal.frame_at(entry.flavum_cranial)[0]
        high = anatomy.poses[state.plan.target_level or task.target_level].translation
        back = self.body.scene.back
        self.body.scene.show_glass(phase == "lead")
        if phase == "lead":
            self.body.look_at(0.5 * (low + high), height=float(high[2] - low[2]) + 70.0)
            self.body.look_from("behind")
        else:
            self.body.look_at(low + np.array([0.0, 0.0 if back else 20.0, -20.0]), height=200.0)
            self.body.look_from("behind" if back or phase == "picture" else state.plan.side or "left")

    def _show_wanted(self, phase):
        """Show what is wanted, in practice: the way in for the needle, the goal for the lead."""
        state = self.session.state
        self.xray.show_goal(goal_corners(state) if phase == "lead" else None)
        plan = (state.plan.interspace, state.plan.side, state.plan.needle_length)
        if state.active != 0:
            # The way in that was sought is the first needle's; the second comes from the other side.
            self.wanted_for = None
            self.body.scene.show_ghost(None)
        elif plan != self.wanted_for:
            self.wanted_for = plan
            self.body.scene.show_ghost(None)
            self.finding = Work(lambda _: ideal_corridor(state))
            self.finding.signals.done.connect(self._show_way)
            self.finding.start()

    def _show_way(self, mesh):
        if self.wanted_for is not None and not self.left:
            self.body.scene.show_ghost(mesh)
            self.refresh_scene()

    def take_picture(self):
        """One picture as the C-arm stands; square on where it has not been moved yet."""
        if self.session.state.room.pose is None:
            self.carm.look(0)
        if self.phase == "picture":
            # The held needle lies on the skin and shows.
            self.columns["picture"].hold()
        self.session.do(e.TakePicture())

    def go_live(self, on):
        """Live while the pedal is down; the beam's time goes into the journal when it is lifted."""
        room = self.session.state.room
        if on and not room.live:
            if room.pose is None:
                self.carm.look(0)
            if self.session.do(e.StartLive()):
                self.live_since.restart()
                self.xray.begin_live()
        elif not on and room.live:
            seconds = round(self.live_since.elapsed() / 1000.0, 2)
            self.xray.end_live()
            self.session.do(e.StopLive(seconds))

    def _clicked(self, u, v):
        if self.phase == "picture":
            self.columns["picture"].mark(u, v)

    def _tick(self, actions, seconds, fine):
        if "live" in actions:
            self.go_live(True)
        for action in actions:
            self.carm.hold(action, seconds, fine=fine)
        self.column.tick(actions, seconds, fine=fine)

    def _act(self, action):
        acts = {
            "one picture": self.take_picture,
            "square on": lambda: self.carm.look(0),
            "side": lambda: self.carm.look(1),
            "oblique": lambda: self.carm.look(2),
            "undo": self._undo,
            "hint": self._hint,
            "mark level": lambda: self.said.emit("Click the vertebra on the picture."),
        }
        if action in acts:
            acts[action]()
        elif not self.column.act(action):
            self.asked.emit(action)

    def _undo(self):
        if self.session.practice:
            self.session.undo()

    def _hint(self):
        if not self.session.practice:
            self.said.emit("There are no hints in an assessment.")
            return
        held = self.columns["picture"].held() if self.phase == "picture" else None
        check = held or self.session.state.check
        if check is None:
            self.said.emit("Plan first.")
        elif check.reasons:
            self.said.emit(check.reasons[0].text)
        else:
            self.said.emit("This way reaches the epidural space.")

    def _let_go(self):
        self.go_live(False)
        self.column.let_go()
        self._still()

    def show_change(self, old, new):
        """Show a new state: the X-ray first, then the readings, then the body."""
        if new.room.live:
            self.xray.follow_live()
        elif new.room.images > old.room.images:
            self.xray.take()
        elif new.room.shown != old.room.shown and not old.room.live:
            self.xray.show_again()
        self.carm.show_pose(new.room.pose)
        if new.phase in WORKING:
            if page_of(new) != self.phase:
                self.enter(page_of(new))
            else:
                self.column.show_state(old, new)
        if new.placements is not old.placements:
            self.refresh_scene(moving=bool(self.keys.get(self.phase) and self.keys[self.phase].held))

    def refresh_scene(self, *, moving=False):
        """Draw the left picture when the X-ray and the words are done; once, however many events came."""
        self.moving = moving
        if not self.wanted:
            self.wanted = True
            QTimer.singleShot(SCENE_AFTER_MS, self._draw_scene)
        if moving:
            self.settle.start()

    def _draw_scene(self):
        self.wanted = False
        if self.left:
            return
        held = self.columns["picture"].held_course() if self.phase == "picture" else None
        show_instruments(self.body, self.session.state, held=held)
        self.body.entry = None if held is None else held[-1]
        self.body.draw_scene(moving=self.moving)

    def _still(self):
        """Nothing moves any more: the full picture."""
        self.settle.stop()
        if self.moving:
            self.refresh_scene()

    def readings(self):
        """Return {name: text or (text, verdict)} for the strip."""
        if self.phase == "picture":
            return picture_readings(self.session.state)
        return self.column.readings()

    def drop_keys(self):
        """Let go of every held key."""
        for keys in self.keys.values():
            keys.drop()

    def leave(self):
        """Let go of keys and graphics."""
        self.left = True
        self.go_live(False)
        self.drop_keys()
        for keys in self.keys.values():
            keys.enabled = False
        self.body.scene.close()


def _chain(ready, state):
    """Return the chain of pictures, drawn by the card where a real one is faster.

    A card belongs to the thread that draws with it, so this is asked here and not beside the window.
    """
    pose = state.room.pose or Pose(0.0, 0.0, state.scenario.task.interspace)
    carm = c_arm(ready.anatomy, pose, pixels=MEASURED_PIXELS)
    choice = rasteriser_for(ready.chain.scene.still, carm, drawn_by="faster")
    if not choice.by_card:
        return ready.chain
    return PictureChain(ready.chain.scene, rng=ready.scenario.seed, rasterise=choice.rasterise)
