"""The debrief: the score and its reasons on the left, what happened on the right."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QFileDialog, QScrollArea, QWidget

from meshes.units import degrees
from trainer.attempt.journal import read
from trainer.attempt.picture_acts import c_arm, collimation
from trainer.attempt.replay import repeat
from trainer.attempt.state import PHASES, PRACTICE
from trainer.physics.corridor_ghost import ghost_mesh
from trainer.physics.xray_marks import side_names
from trainer.records.pictures import tools_of
from trainer.records.report import write_report
from trainer.records.store import Entry, Store
from trainer.records.way_in import planned_corridor
from trainer.scoring.log import Log
from trainer.scoring.moments import moment_of, moments_of
from trainer.scoring.score import score_attempt
from trainer.scoring.words import advice, kind_of
from trainer.window import tokens as t
from trainer.window.body_pane import BodyPane
from trainer.window.canvas import column, label, panel, row
from trainer.window.controls import Button
from trainer.window.held_keys import HeldKeys
from trainer.window.instruments_shown import needle_course, show_instruments
from trainer.window.lettering import grid
from trainer.window.picture_frame import Marks, PictureFrame
from trainer.window.prepared import prepared_for
from trainer.window.scene import SpineScene
from trainer.window.score_list import CriterionRow, ScoreHead, SourceKey
from trainer.window.scrubber import Scrubber
from trainer.window.shortcuts import key_of
from trainer.window.strips import TopStrip
from trainer.window.wanted import wanted_approaches
from trainer.window.xray_pane import BARE

PLAY_MS = 120
MOST_THUMBNAILS = 7
THUMBNAIL_PIXELS = 192
REPLAY_PIXELS = 512


@dataclass(frozen=True, eq=False)
class Debriefed:
    """A finished attempt, repeated and judged.

    Parameters
    ----------
    path : pathlib.Path
    attempt : trainer.attempt.attempt.Attempt
    log : trainer.scoring.log.Log
    score : trainer.scoring.score.Score
    ready : trainer.window.prepared.Prepared
    ghost : (vertices, faces) or None
        The wanted way in.
    seconds : float
    thumbnails : tuple of (act, picture, names of its sides)
    kept : str
        Why it could not go into the record; "" where it did.
    approaches : (float, float) or None
        The flattest and the steepest of the wanted needles. [rad]
    """

    path: object
    attempt: object
    log: object
    score: object
    ready: object
    ghost: object
    seconds: float
    thumbnails: tuple
    kept: str = ""
    approaches: tuple | None = None


def debriefed(path, progress, *, person):
    """Return the Debriefed of a journal; puts it into the record under a pseudonym, once."""
    record = read(path)
    attempt = repeat(record, progress=progress).attempt
    progress(0, 3, "scoring")
    log, score = Log.of(attempt), score_attempt(attempt)
    kept = keep(path, record, score, person=person)
    progress(1, 3, "pictures")
    ready = prepared_for(attempt.anatomy, attempt.scenario, mode=PRACTICE, seed=attempt.seed)
    thumbnails = _thumbnails(log, ready.chain)
    progress(2, 3, "the wanted way")
    stamps = [entry.stamp for entry in record.entries if entry.stamp is not None]
    seconds = stamps[-1] if stamps else 0.0
    wanted = planned_corridor(attempt.state)
    ghost, approaches = ghost_mesh(wanted), wanted_approaches(wanted)
    return Debriefed(path, attempt, log, score, ready, ghost, seconds, thumbnails, kept, approaches)


def keep(path, record, score, *, person):
    """Put a judged journal into the record; returns "" or, in a sentence, why that was not possible."""
    stamps = [entry.stamp for entry in record.entries if entry.stamp is not None]
    seconds = stamps[-1] if stamps else 0.0
    began = datetime.fromtimestamp(path.stat().st_mtime - seconds, UTC).isoformat(timespec="milliseconds")
    try:
        with Store() as store:
            store.add(Entry(person, path.read_bytes(), score, began, seconds))
    except OSError as error:
        return " ".join(str(error).split())
    return ""


def _thumbnails(log, chain):
    taken = [k for k, act in enumerate(log.acts) if act.after.room.images > act.before.room.images]
    if len(taken) > MOST_THUMBNAILS:
        taken = [taken[k] for k in np.linspace(0, len(taken) - 1, MOST_THUMBNAILS).round().astype(int)]
    found = []
    for index in taken:
        picture, carm = picture_at(log.acts[index].after, chain, pixels=THUMBNAIL_PIXELS)
        found.append((index, picture, side_names(carm)))
    return tuple(found)


def picture_at(state, chain, *, pixels=REPLAY_PIXELS):
    """Return (picture, CArm) of what the X-ray showed last in a state, or (None, None)."""
    if state.room.shown is None:
        return None, None
    carm = c_arm(state.anatomy, state.room.shown, pixels=pixels)
    rng = np.random.default_rng([state.seed, state.room.images])
    opened = collimation(state.room.shown)
    return chain.shot(carm, tools_of(state), rng=rng, collimation=opened, display=BARE).picture, carm


class Thumbnail(PictureFrame):
    """A picture of the gallery that can be pressed."""

    pressed = Signal()

    def __init__(self, name, picture, sides):
        super().__init__(name, whole=True, small=True)
        self.setFixedSize(grid(96), grid(96))
        self.show_picture(picture, Marks(name, sides=tuple(side[:1] for side in sides)))

    def mouseReleaseEvent(self, event):
        del event
        self.pressed.emit()


class DebriefPage(QWidget):
    """`left()`, `again(scenario, mode)`, `step_again(scenario, seed, events)`."""

    left = Signal()
    again = Signal(object, str)
    step_again = Signal(object, int, object)

    def __init__(self, found, *, left_handed=False):
        super().__init__()
        self.setObjectName("ground")
        self.found = found
        self.moments = moments_of(found.log)
        scenario, score = found.attempt.scenario, found.score
        top = TopStrip(
            ("Plan", "Picture", "Needle", "Lead", "Test", "Secure", "Debrief"),
            patient=scenario.title, mode=found.attempt.mode,
        )  # fmt: skip
        worked = {PHASES.index(act.before.phase) for act in found.log.acts}
        top.phases.show_phase(6, worked=worked - {6})
        top.show_time(found.seconds)
        self.body = BodyPane(SpineScene(found.ready.meshes), found.attempt.anatomy)
        self.body.scene.show_ghost(found.ghost)
        self.xray = PictureFrame("X-ray at this moment", whole=True)
        self.scrubber = Scrubber([act.before.phase for act in found.log.acts], self.moments)
        self.scrubber.moved.connect(self._show_act)
        self.words = label("", role="strong", wrap=True)
        self.words.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.words.setMaximumHeight(grid(t.CONTROL))
        self.setLayout(
            column(
                top,
                (row(self._judgement(score, scenario), (self._happened(), 1), gap=8), 1),
                self._foot(score, left_handed),
                gap=8,
                margin=8,
            )
        )
        self.timer = QTimer(self)
        self.timer.setInterval(PLAY_MS)
        self.timer.timeout.connect(self._play_on)
        self.keys = HeldKeys(self, "debrief", left_handed=left_handed)
        self.keys.acted.connect(self._act)
        self._look()
        self._show_act(self.scrubber.at)
        if found.kept:
            self.words.show_text(found.kept)

    def _judgement(self, score, scenario):
        told = advice(score)
        if scenario.decision.expected != "proceed":
            told = [scenario.decision.why, *told][:2]
        self.rows = [CriterionRow(item) for item in sorted(score.items, key=lambda i: kind_of(i) == "met")]
        for item_row in self.rows:
            item_row.clicked.connect(lambda r=item_row: self._to_criterion(r))
        inside = QWidget()
        inside.setLayout(column(*self.rows, None, gap=0))
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setWidget(inside)
        holder = QWidget()
        holder.setFixedWidth(grid(t.DEBRIEF_COLUMN))
        holder.setLayout(
            column(
                panel(ScoreHead(score), margin=16),
                panel(*(label(words, wrap=True) for words in told), title="Next time", margin=16, gap=4),
                (panel((area, 1), SourceKey(), margin=12), 1),
                gap=8,
            )
        )
        return holder

    def _happened(self):
        self.play = Button("Play", key=key_of("play", "debrief"))
        self.play.clicked.connect(self.toggle_play)
        before = Button("Last mark", key=key_of("last mark", "debrief"))
        before.clicked.connect(lambda: self.scrubber.to_mark(-1))
        after = Button("Next mark", key=key_of("next mark", "debrief"))
        after.clicked.connect(lambda: self.scrubber.to_mark(1))
        here = Button("Practise from here")
        here.clicked.connect(self._practise_from_here)
        self.gallery = []
        for index, picture, sides in self.found.thumbnails:
            thumbnail = Thumbnail(f"Picture at act {index + 1}", picture, sides)
            thumbnail.pressed.connect(lambda k=index: self.scrubber.go_to(k))
            self.gallery.append(thumbnail)
        pictures = row(*self.gallery, None) if self.gallery else row(label("No pictures.", ink=t.MUTED), None)
        controls = row(self.play, before, after, here, (self.words, 1))
        return column(
            (row((self.body, 3), (self.xray, 2), gap=8), 1),
            panel(self.scrubber, controls, margin=12),
            panel(pictures, margin=12),
            gap=8,
        )

    def _foot(self, score, left_handed):
        save = Button("Save as report")
        save.clicked.connect(self._save_report)
        back = Button("Back", key="Esc")
        back.clicked.connect(self.left)
        again = Button(
            "Try the same patient again", key=key_of("again", "debrief", left_handed=left_handed), kind="main"
        )
        again.clicked.connect(self._again)
        by = label(f'Score by the rubric "{score.rubric}", version {score.rubric_version}.', ink=t.MUTED)
        return row(by, None, back, save, again, margin=(8, 0, 8, 0))

    def _look(self):
        anatomy, plan = self.found.attempt.anatomy, self.found.attempt.state.plan
        task = self.found.attempt.scenario.task
        space = anatomy.canal.interspaces[plan.interspace or task.interspace]
        low = anatomy.canal.frame_at(space.flavum_cranial)[0]
        high = anatomy.poses[plan.target_level or task.target_level].translation
        self.body.scene.show_glass(True)
        self.body.look_at(0.5 * (low + high) + (0.0, 20.0, -20.0), height=float(high[2] - low[2]) + 110.0)
        side = plan.side or task.side
        self.body.scene.view = replace(self.body.scene.view, azimuth=1.05 if side == "left" else -1.05)

    def _show_act(self, index):
        if not self.found.log.acts:
            return
        act = self.found.log.acts[index]
        show_instruments(self.body, act.after)
        self.body.named = self._named(act.after)
        self.body.draw_scene()
        picture, carm = picture_at(act.after, self.found.ready.chain)
        marks = Marks("X-ray at this moment", head=False)
        if carm is not None:
            shown = f"{act.after.room.images} of {self.found.log.last.room.images}"
            marks = Marks(
                "X-ray at this moment", sides=side_names(carm), state=("held", shown),
                pixels_per_mm=carm.pixels_per_mm,
            )  # fmt: skip
        self.xray.show_picture(picture, marks)
        stamp = f"{int(act.stamp) // 60:02d}:{int(act.stamp) % 60:02d}  " if act.stamp is not None else ""
        here = [m.words for m in self.moments if m.act == index]
        self.words.show_text(stamp + (here[0] if here else _plain(type(act.event).__name__)))

    def _named(self, state):
        """Return [(point, words)] that name the needle and the wanted way, with their approach."""
        named = []
        course = needle_course(state.placement)
        if course is not None:
            named.append((0.5 * (course[0] + course[1]), f"You {degrees(state.aim.approach):.0f}°"))
        if self.found.ghost is not None:
            vertices = self.found.ghost[0]
            lowest = vertices[np.argmin(vertices[:, 2])]
            named.append((lowest, wanted_words(self.found.approaches)))
        return named

    def _to_criterion(self, chosen):
        for one in self.rows:
            one.show_chosen(one is chosen)
        self.scrubber.go_to(moment_of(chosen.item, self.found.log, self.moments))

    def toggle_play(self):
        """Play on from here, or stop."""
        if self.timer.isActive():
            self.timer.stop()
        else:
            if self.scrubber.at >= len(self.found.log.acts) - 1:
                self.scrubber.go_to(0)
            self.timer.start()
        self.play.show_text("Stop" if self.timer.isActive() else "Play")

    def _play_on(self):
        if self.scrubber.at >= len(self.found.log.acts) - 1:
            self.toggle_play()
        else:
            self.scrubber.go_to(self.scrubber.at + 1)

    def _practise_from_here(self):
        events = self.found.attempt.events[: self.scrubber.at]
        self.step_again.emit(self.found.attempt.scenario, self.found.attempt.seed, events)

    def _again(self):
        self.again.emit(self.found.attempt.scenario, self.found.attempt.mode)

    def _save_report(self):
        folder = QFileDialog.getExistingDirectory(self, "Folder for the report")
        if not folder:
            return
        try:
            path = write_report(folder, self.found.attempt, self.found.score)
        except OSError as error:
            self.words.show_text(f"The report could not be saved: {error.strerror}.")
        else:
            self.words.show_text(f"Saved: {Path(path).name}")
            self.words.setToolTip(str(path))

    def _act(self, action):
        acts = {
            "play": self.toggle_play,
            "last mark": lambda: self.scrubber.to_mark(-1),
            "next mark": lambda: self.scrubber.to_mark(1),
            "again": self._again,
            "back": self.left.emit,
        }
        if action in acts:
            acts[action]()

    def leave(self):
        """Stop the replay and let go of the graphics."""
        self.timer.stop()
        self.keys.enabled = False
        self.body.scene.close()


def wanted_words(approaches):
    """Return "Wanted 30–45°" of the flattest and the steepest approach [rad], or "Wanted"."""
    if approaches is None:
        return "Wanted"
    low, high = (f"{degrees(angle):.0f}" for angle in approaches)
    return f"Wanted {low}°" if low == high else f"Wanted {low}–{high}°"


def _plain(name):
    """Return "Push needle" for PushNeedle."""
    words = "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in name).strip()
    return words.capitalize()
