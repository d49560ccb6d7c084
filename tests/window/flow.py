"""A scripted user: works a case through the widgets, by clicks and keys only."""

import numpy as np
from PySide6.QtCore import Qt

from meshes.units import radians
from trainer.attempt import events as e
from trainer.attempt.attempt import Attempt
from trainer.attempt.journal import Journal
from trainer.physics.needle import Needle
from trainer.physics.plan import plan_needle
from trainer.window.attempt_page import AttemptPage
from trainer.window.session import Session

LENGTH = 114.0


def open_page(qtbot, ready, mode, path, *, size=(1366, 768), left_handed=False):
    """Return the page of a new attempt, shown."""
    journal = Journal.create(path, scenario=ready.scenario, seed=ready.seed, mode=mode)
    attempt = Attempt(ready.scenario, seed=ready.seed, mode=mode, anatomy=ready.anatomy, journal=journal)
    page = AttemptPage(Session(attempt, journal_path=path), ready, left_handed=left_handed)
    qtbot.addWidget(page)
    page.resize(*size)
    page.show()
    qtbot.waitExposed(page)
    return page


def click(qtbot, widget):
    qtbot.mouseClick(widget, Qt.MouseButton.LeftButton)


def key(qtbot, page, code):
    qtbot.keyClick(page.work, code)


def commit_plan(qtbot, page):
    """Read the card, scroll the slices, choose, fix."""
    plan = page.plan
    for tick, _ in plan.facts.values():
        click(qtbot, tick)
    for name, option in (("entry", "T12-L1"), ("side", "left"), ("needle", "114"), ("target", "T8")):
        assert not plan.fix.isEnabled()
        plan.choices[name].choose(option)
    click(qtbot, plan.fix)
    assert page.session.state.phase == "picture"


def hold_needle(page):
    """Hold the needle as the planner would: an aim is many small steps of a key, done here at once."""
    anatomy = page.session.state.anatomy
    planned = plan_needle(
        anatomy, "T12-L1", side="left", needle=Needle(length=LENGTH), largest_approach=radians(35.0)
    )
    aim = planned.aim
    column = page.work.columns["picture"]
    column.aim = e.AimNeedle(
        aim.interspace, aim.side, aim.entry_x, aim.entry_z, aim.approach, aim.medial, LENGTH
    )
    column._show_aim()


def to_the_space(qtbot, page):
    """Through the skin, in by steps of a key, stylet out, and on under the thumb until it gives way."""
    session, column = page.session, page.work.columns["needle"]
    click(qtbot, page.work.columns["picture"].through)
    assert session.state.phase == "needle"
    click(qtbot, column.brace)
    column.step.choose(0)
    for _ in range(60):
        space = session.state.placement.to_epidural
        if space is None or session.state.needle_depth > space - 6.0:
            break
        key(qtbot, page, Qt.Key.Key_Up)
    click(qtbot, column.stylet)
    column.step.choose(1)
    for _ in range(40):
        click(qtbot, column.press)
        if session.state.placement.felt == "lost":
            break
        key(qtbot, page, Qt.Key.Key_Up)
    assert session.state.placement.felt == "lost"


def lead_up(qtbot, page, millimetres):
    """Pass the lead and feed it in steps of a key, with a turn now and then."""
    click(qtbot, page.work.columns["needle"].next)
    for _ in range(6):
        if page.session.state.phase == "lead":
            break
        key(qtbot, page, Qt.Key.Key_Up)
        click(qtbot, page.work.columns["needle"].next)
    assert page.session.state.phase == "lead", page.strips["needle"].note
    for number in range(millimetres):
        key(qtbot, page, Qt.Key.Key_Up)
        if number % 8 == 4:
            key(qtbot, page, Qt.Key.Key_D if (number // 8) % 2 else Qt.Key.Key_A)


def same_bits(one, other):
    """Tell whether two arrays hold the same bits."""
    return np.array_equal(np.asarray(one), np.asarray(other))
