"""What a new resident stumbled over: complications, the second needle, the entry by mouse, leaving."""

from dataclasses import replace

import pytest
from PySide6.QtCore import QPointF, Qt

from tests.window import flow
from trainer.attempt import events as e
from trainer.attempt.state import Complication
from trainer.physics.needle_consequences import BLEEDING, CHOICES, KINDS, PUNCTURE
from trainer.window.body_pane import FIRST_FRAMES
from trainer.window.shortcuts import clashes
from trainer.window.strips import PhaseStrip
from trainer.window.what_next_column import HAPPENED, MOST, open_complication
from trainer.window.working_page import page_of


@pytest.fixture
def page(qtbot, look, ready, tmp_path):
    made = flow.open_page(qtbot, ready, "practice", tmp_path / "attempt.jsonl")
    yield made
    made.leave()


def in_the_skin(qtbot, page):
    flow.commit_plan(qtbot, page)
    flow.hold_needle(page)
    flow.click(qtbot, page.work.columns["picture"].through)
    assert page.session.state.phase == "needle"


def befall(page, *kinds):
    """Let complications happen to the attempt, as the window is told of them."""
    done, old = page.session.attempt.done, page.session.state
    found = tuple(Complication(kind, old.event_count) for kind in kinds)
    done[-1] = replace(done[-1], state=replace(old, complications=found))
    page.session.changed.emit(old, page.session.state)


def test_every_complication_has_words_and_keys_that_clash_with_nothing():
    assert set(HAPPENED) == set(KINDS)
    assert max(len(choices) for choices in CHOICES.values()) <= MOST
    assert clashes() == [] and clashes(left_handed=True) == []


def test_the_choices_after_a_complication_stand_over_the_controls(qtbot, look, page):
    in_the_skin(qtbot, page)
    befall(page, BLEEDING)
    column = page.work.columns["what next"]
    assert page.work.side.currentWidget() is column
    assert [one.accessibleName() for one in column.answers] == [one.words for one in CHOICES[BLEEDING]]
    depth = page.session.state.needle_depth
    flow.key(qtbot, page, Qt.Key.Key_Up)
    assert page.session.state.needle_depth == depth
    qtbot.wait(80)
    look.overflows.clear()
    page.grab()
    assert look.overflows == []
    flow.key(qtbot, page, Qt.Key.Key_5)
    assert page.session.state.complications[0].choice == CHOICES[BLEEDING][1].key
    assert page.work.side.currentWidget() is page.work.columns["needle"]
    flow.key(qtbot, page, Qt.Key.Key_Up)
    assert page.session.state.needle_depth > depth


def test_one_answer_serves_what_happened_in_the_same_act(qtbot, page):
    in_the_skin(qtbot, page)
    befall(page, PUNCTURE, "intrathecal tip")
    flow.click(qtbot, page.work.columns["what next"].answers[0])
    assert [one.choice for one in page.session.state.complications] == ["another level"] * 2
    assert open_complication(page.session.state) is None


def test_what_does_not_show_is_not_asked_about(qtbot, page):
    in_the_skin(qtbot, page)
    hidden = Complication(PUNCTURE, 1, seen=False)
    assert page_of(replace(page.session.state, complications=(hidden,))) == "needle"


def test_a_second_needle_is_held_to_the_skin_first(qtbot, page):
    in_the_skin(qtbot, page)
    needle = page.work.columns["needle"]
    assert needle.hand.text() == "First needle, left"
    page.session.do(e.TakeUpNeedle("second"))
    column = page.work.columns["picture"]
    assert page.work.side.currentWidget() is column
    assert column.hand.text() == "Second needle to the skin" and column.aim.side == "right"
    flow.click(qtbot, column.through)
    assert page.session.state.placements[1].inside is not None
    assert needle.hand.text() == "Second needle, right"


def test_the_lead_is_chosen_before_it_is_passed(qtbot, page):
    in_the_skin(qtbot, page)
    kind = page.work.columns["needle"].kind
    kind.choose(kind.options[-1])
    placement = page.session.state.placement
    assert f"{placement.contacts}, {placement.stylet}" == kind.options[-1]


def test_the_entry_is_dragged_over_the_skin(qtbot, page):
    flow.commit_plan(qtbot, page)
    body, column = page.work.body, page.work.columns["picture"]
    qtbot.waitUntil(lambda: body.entry is not None, timeout=5000)
    aspect = body.image.width() / body.image.height()
    spot = body.spot(*body.scene.view.shares(body.entry[None], aspect=aspect)[0])
    x, z = body.skin_under(spot)
    assert x == pytest.approx(column.aim.entry_x, abs=0.5)
    assert z == pytest.approx(column.aim.entry_z, abs=0.5)
    before, view = column.aim, body.scene.view
    start = spot.toPoint()
    qtbot.mousePress(body, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(body, start + QPointF(40, -30).toPoint())
    qtbot.mouseRelease(body, Qt.MouseButton.LeftButton, pos=start)
    assert column.aim.entry_x < before.entry_x - 3.0 and column.aim.entry_z > before.entry_z + 3.0
    assert body.scene.view == view


def test_escape_asks_before_a_working_phase_is_left(qtbot, page):
    flow.commit_plan(qtbot, page)
    left = []
    page.left.connect(lambda: left.append(True))
    flow.key(qtbot, page, Qt.Key.Key_Escape)
    assert page.question.isVisible() and left == []
    qtbot.keyClick(page.question, Qt.Key.Key_Escape)
    assert not page.question.isVisible() and left == []
    flow.key(qtbot, page, Qt.Key.Key_Escape)
    flow.click(qtbot, page.question.go)
    assert left == [True]


def test_an_untouched_plan_is_left_without_a_question(qtbot, page):
    with qtbot.waitSignal(page.left):
        page.ask_to_leave()


def test_phases_that_were_not_worked_stay_in_outline(qtbot, page):
    flow.commit_plan(qtbot, page)
    page.session.do(e.FinishAttempt())
    assert page.top.phases.worked == {0, 1}
    strip = PhaseStrip(("One", "Two"))
    strip.show_phase(1)
    assert strip.worked == {0}


def test_live_frames_leave_half_of_the_time_to_the_hand(qtbot, page):
    flow.commit_plan(qtbot, page)
    page.work.go_live(True)
    xray = page.work.xray
    frames, xray.cost = xray.frames, 10.0
    xray.follow_live()
    assert xray.frames == frames
    xray.cost = 0.0
    xray.follow_live()
    assert xray.frames == frames + 1
    assert xray.pace.interval() >= 2000.0 * xray.cost - 1.0
    page.work.go_live(False)


@pytest.mark.parametrize(("seconds", "scale"), [(0.004, 1.0), (0.05, 0.6)])
def test_the_quality_step_follows_the_first_pictures(page, seconds, scale):
    body = page.work.body
    body.timed, body.motion_scale = [], 0.6
    body._time(3.0)
    for _ in range(FIRST_FRAMES - 1):
        body._time(seconds)
    assert body.motion_scale == scale
