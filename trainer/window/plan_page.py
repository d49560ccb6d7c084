"""The plan: card, slices with a ruler, and the commitment to level, side, needle and target."""

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QScrollArea, QWidget

from meshes.levels import INTERSPACES, LEVELS
from scenarios.card import REASONS
from trainer.attempt import events as e
from trainer.physics.slice_plane import axial_plane, sagittal_plane
from trainer.window import tokens as t
from trainer.window.body_map import BodyMap
from trainer.window.canvas import column, label, panel, row
from trainer.window.choices import Choice, Tick
from trainer.window.column import MoreButton
from trainer.window.controls import Button, Segments
from trainer.window.lettering import grid
from trainer.window.shortcuts import key_of
from trainer.window.slice_pane import SlicePane, nearest_level
from trainer.window.state_words import level_words, millimetres

MOST_MEASURES = 4
# How near to a level an axial slice counts as having looked at it. [mm]
NEAR = 8.0
ENTRIES = ("T10-T11", "T11-T12", "T12-L1", "L1-L2", "L2-L3", "L3-L4", "L4-L5")
APPEARANCES = ("t2", "ct")


class PlanPage(QWidget):
    """Slices, card and plan; `said(sentence)`, `looked()` when the readings have changed."""

    said = Signal(str)
    looked = Signal()
    names = ("Slice", "At the pointer", "Level", "From skin")
    widest = ("T12–L1", "interspinous ligament", "T12–L1", "88.8 mm")

    def __init__(self, session, ready, *, left_handed=False):
        super().__init__()
        self.session, self.anatomy = session, ready.anatomy
        scenario = session.state.scenario
        self.under = ("", None)
        self.read_slices = set()
        start = scenario.task.interspace
        self.sagittal = SlicePane(
            self.anatomy, sagittal_plane(self.anatomy), title="Slice in the midline", seed=scenario.seed
        )
        self.axial = SlicePane(
            self.anatomy, axial_plane(self.anatomy, start, along_disc=True),
            title=f"Slice at {level_words(start)}", seed=scenario.seed + 1,
        )  # fmt: skip
        self.measures = []
        self.measured = label("Drag on a slice to measure.", ink=t.MUTED, wrap=True)
        self.appearance = Segments("Appearance", ["Magnetic", "Tomographic"])
        middle = column(
            (self.axial, 1),
            panel(self.appearance, self.measured, title="Measured with the ruler", margin=12),
            gap=8,
        )
        self.fix = Button(
            "Fix the plan", key=key_of("next step", "plan", left_handed=left_handed), kind="main"
        )
        self.choices = self._choices(scenario)
        side = column((self._card(scenario), 1), self._plan(), gap=8)
        holder = QWidget()
        holder.setLayout(side)
        holder.setFixedWidth(grid(t.PLAN_COLUMN))
        self.setLayout(row((self.sagittal, 5), (middle, 4), holder, gap=8))
        self._connect()

    def _choices(self, scenario):
        lengths = [f"{length:g}" for length in scenario.task.needle_lengths_mm]
        return {
            "entry": Choice("Entry", [name for name in INTERSPACES if name in ENTRIES], show=level_words),
            "side": Choice("Side", ["left", "right"]),
            "needle": Choice("Needle", lengths, show=lambda length: f"{length}\u00a0mm"),
            "target": Choice("Lead up to", [level for level in LEVELS if level.startswith("T")]),
        }

    def _card(self, scenario):
        card = scenario.card
        self.map = BodyMap("Pain")
        self.map.show_areas(dict.fromkeys(card.pain, "pain"))
        medicines = ", ".join(_medicine(one) for one in card.medicines) or "none"
        facts = {
            "medicines": medicines, "consent": card.consent, "infection": card.infection,
            "implants": card.implants, "allergies": card.allergies,
        }  # fmt: skip
        self.facts = {}
        for item, text in facts.items():
            tick = Tick(item.capitalize(), done=item in self.session.state.plan.items_read)
            tick.toggled.connect(lambda done, i=item, k=tick: self._read(i, k, done))
            self.facts[item] = (tick, label(text, ink=t.MUTED, wrap=True))
        lines = [part for pair in self.facts.values() for part in pair]
        story = label(scenario.patient, wrap=True)
        age = label(f"{card.sex.capitalize()}, {card.age}", role="strong")
        inside = QWidget()
        inside.setLayout(column(age, story, self.map, *lines, None, gap=4))
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setWidget(inside)
        self.area = area
        return panel((area, 1), title="Patient card", margin=12)

    def _plan(self):
        self.not_today = MoreButton(self._refusals, key=None)
        self.not_today.show_text("Not today")
        return panel(
            *self.choices.values(), row(self.not_today, (self.fix, 1)), title="Your plan", margin=12, gap=6
        )

    def _connect(self):
        for choice in self.choices.values():
            choice.chosen_changed.connect(lambda _: self._planned())
        self.fix.clicked.connect(self.commit)
        self.appearance.chosen_changed.connect(self._appear)
        self.axial.moved.connect(self._axial_moved)
        self.sagittal.placed.connect(self._go_to)
        for pane in (self.sagittal, self.axial):
            pane.measured.connect(self._add_measure)
            pane.pointed.connect(self._pointed)
        self.sagittal.show_line(self.axial.plane)
        self._planned()

    def _refusals(self):
        entries = [
            (f"Put off: {reason}", lambda r=reason: self.session.do(e.DeferCase(r))) for reason in REASONS
        ]
        entries += [
            (f"Decline: {reason}", lambda r=reason: self.session.do(e.RefuseCase(r))) for reason in REASONS
        ]
        return entries

    def _read(self, item, tick, done):
        if done:
            self.session.do(e.ReadItem(item))
        else:
            # What has been read stays read.
            tick.tick(True, tell=False)

    def _read_once(self, item):
        if item not in self.read_slices and self.session.state.phase == "plan":
            self.read_slices.add(item)
            self.session.do(e.ReadItem(item))

    def _appear(self, index):
        for pane in (self.sagittal, self.axial):
            pane.show_appearance(APPEARANCES[index])

    def _go_to(self, point):
        self.axial.scroll(float(point[2] - self.axial.plane.centre[2]))

    def _axial_moved(self, plane):
        self.sagittal.show_line(plane)
        self.axial.title = f"Slice at {nearest_level(self.anatomy, plane.centre)}"
        task = self.session.state.scenario.task
        for item, name in (("slices at the entry", task.interspace.split("-")[0]),
                           ("slices up to the target", task.target_level)):  # fmt: skip
            if abs(self.anatomy.poses[name].translation[2] - plane.centre[2]) < 2.0 * NEAR:
                self._read_once(item)
        self.looked.emit()

    def _add_measure(self, length, first, last):
        self.measures = [
            *self.measures,
            f"{first or 'outside'} to {last or 'outside'}: {millimetres(length)}",
        ]
        self.measured.show_text("\n".join(self.measures[-MOST_MEASURES:]))

    def _pointed(self, tissue, point):
        self.under = (tissue, point)
        self.looked.emit()

    def readings(self):
        """Return {name: text} for the strip."""
        tissue, point = self.under
        if point is None:
            return {"Slice": nearest_level(self.anatomy, self.axial.plane.centre)}
        below = float(self.anatomy.tissue.skin(point[0], point[2]) - point[1])
        return {
            "Slice": nearest_level(self.anatomy, self.axial.plane.centre),
            "At the pointer": tissue or "outside",
            "Level": nearest_level(self.anatomy, point),
            "From skin": millimetres(max(below, 0.0)) if tissue else "–",
        }

    def missing(self):
        """Return what the plan still lacks, in a sentence, or ""."""
        open_ones = [name for name, choice in self.choices.items() if choice.chosen is None]
        return f"Choose {', '.join(open_ones)} to fix the plan." if open_ones else ""

    def _planned(self):
        self.fix.setEnabled(not self.missing())
        self.looked.emit()

    def commit(self):
        """Fix the plan."""
        if self.missing():
            self.said.emit(self.missing())
            return
        c = self.choices
        self.session.do(
            e.CommitPlan(c["entry"].chosen, c["side"].chosen, float(c["needle"].chosen), c["target"].chosen)
        )

    def act(self, action):
        """Act for the press of a key."""
        if action == "next step":
            self.commit()

    def showEvent(self, event):
        super().showEvent(event)
        for pane in (self.sagittal, self.axial):
            if pane.section is None:
                pane.draw_slice()


def _medicine(one):
    if one.stopped_days is None:
        return one.name
    days = f"{one.stopped_days:g} day{'' if one.stopped_days == 1 else 's'}"
    return f"{one.name}, stopped {days} ago"
