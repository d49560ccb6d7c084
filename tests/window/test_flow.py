"""A whole attempt through the widgets: the journal and the score are those of a headless replay."""

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtWidgets import QApplication

from tests.window import flow
from trainer.attempt import events as e
from trainer.attempt.journal import read
from trainer.attempt.replay import repeat, resumed
from trainer.scoring.score import score_attempt
from trainer.window.canvas import Canvas
from trainer.window.controls import Pressable
from trainer.window.debrief_page import DebriefPage, debriefed
from trainer.window.session import Session
from trainer.window.work import Stopped


@pytest.fixture(params=["practice", "assessment"])
def mode(request):
    return request.param


@pytest.fixture
def page(qtbot, look, ready, ready_back, mode, tmp_path):
    made = flow.open_page(
        qtbot, ready if mode == "practice" else ready_back, mode, tmp_path / "attempt.jsonl"
    )
    made.mode = mode
    yield made
    made.leave()


def test_a_whole_attempt(qtbot, page, tmp_path, ready):
    session = page.session
    flow.commit_plan(qtbot, page)
    flow.click(qtbot, page.work.carm.one)
    assert session.state.room.images == 1 and page.work.xray.image is not None
    page.work.xray.clicked_at.emit(0.5, 0.5)
    assert len(session.state.room.marks) == 1
    flow.hold_needle(page)
    flow.to_the_space(qtbot, page)
    flow.key(qtbot, page, Qt.Key.Key_2)
    flow.key(qtbot, page, Qt.Key.Key_Space)
    assert session.state.room.images == 2
    flow.lead_up(qtbot, page, 24)
    assert session.state.lead.fed > 20.0
    with qtbot.waitSignal(page.finished) as finished:
        session.do(e.FinishAttempt())
    assert finished.args == [tmp_path / "attempt.jsonl"]

    record = read(tmp_path / "attempt.jsonl")
    replayed = repeat(record, anatomy=ready.anatomy)
    assert record.mode == page.mode
    assert replayed.identical
    assert score_attempt(replayed.attempt) == score_attempt(session.attempt)


def test_what_a_real_room_hides_is_hidden(qtbot, page):
    flow.commit_plan(qtbot, page)
    flow.hold_needle(page)
    flow.to_the_space(qtbot, page)
    hidden = page.mode == "assessment"
    assert page.work.body.scene.back is hidden
    assert ("dura" in page.work.body.scene.actors) is not hidden
    column = page.work.columns["needle"]
    assert (column.approach.value is None) is hidden
    assert (column.resistance.trace is None) is hidden
    assert column.undo.isVisible() is not hidden
    strip = page.strips["needle"]
    assert ("Epidural space" in strip.names) is not hidden
    page.work._act("hint")
    assert ("no hints" in strip.note) is hidden


def test_undo_takes_back_a_whole_stretch_of_a_key(qtbot, page):
    flow.commit_plan(qtbot, page)
    flow.hold_needle(page)
    flow.click(qtbot, page.work.columns["picture"].through)
    before = page.session.state.needle_depth
    qtbot.keyPress(page.work, Qt.Key.Key_Up)
    qtbot.wait(700)
    qtbot.keyRelease(page.work, Qt.Key.Key_Up)
    assert page.session.state.needle_depth > before + 1.0
    flow.key(qtbot, page, Qt.Key.Key_Z)
    if page.mode == "practice":
        assert page.session.state.needle_depth == before
    else:
        assert page.session.state.needle_depth > before


def test_nothing_moves_after_the_key_is_up(qtbot, page):
    flow.commit_plan(qtbot, page)
    flow.hold_needle(page)
    flow.click(qtbot, page.work.columns["picture"].through)
    qtbot.keyPress(page.work, Qt.Key.Key_Up)
    qtbot.wait(400)
    qtbot.keyRelease(page.work, Qt.Key.Key_Up)
    depth = page.session.state.needle_depth
    qtbot.wait(150)
    assert page.session.state.needle_depth == depth


def test_live_counts_its_seconds_and_holds_the_last_picture(qtbot, page):
    flow.commit_plan(qtbot, page)
    qtbot.keyPress(page.work, Qt.Key.Key_L)
    qtbot.waitUntil(lambda: page.work.xray.frames >= 3, timeout=20000)
    assert page.session.state.room.live
    qtbot.keyRelease(page.work, Qt.Key.Key_L)
    room = page.session.state.room
    assert not room.live and room.seconds > 0.0 and room.kerma > 0.0
    assert page.work.xray.marks.state[0] == "held"
    frames = page.work.xray.frames
    qtbot.wait(200)
    assert page.work.xray.frames == frames


def test_losing_the_window_ends_the_beam(qtbot, page):
    flow.commit_plan(qtbot, page)
    qtbot.keyPress(page.work, Qt.Key.Key_L)
    assert page.session.state.room.live
    QApplication.sendEvent(page.work, QEvent(QEvent.Type.WindowDeactivate))
    assert not page.session.state.room.live


def test_a_refused_event_is_told_in_the_strip(qtbot, page):
    flow.commit_plan(qtbot, page)
    flow.hold_needle(page)
    flow.click(qtbot, page.work.columns["picture"].through)
    count = page.session.state.event_count
    page.work._act("next step")
    assert page.session.state.event_count == count
    assert "must" in page.strips["needle"].note


def test_an_attempt_goes_on_where_it_stopped(qtbot, page, tmp_path, ready, ready_back):
    flow.commit_plan(qtbot, page)
    flow.click(qtbot, page.work.carm.one)
    digest = page.session.attempt.done[-1].digest
    page.session.close()
    attempt, replayed, _ = resumed(tmp_path / "attempt.jsonl", anatomy=ready.anatomy)
    assert replayed.identical and attempt.done[-1].digest == digest
    again = flow.AttemptPage(Session(attempt), ready if page.mode == "practice" else ready_back)
    qtbot.addWidget(again)
    again.show()
    assert again.work.xray.image is not None and again.work.phase == "picture"
    again.leave()


def test_every_control_has_a_name_and_can_be_reached(page):
    for control in page.findChildren(Pressable):
        assert control.accessibleName(), type(control)
        assert control.focusPolicy() & Qt.FocusPolicy.TabFocus, control.accessibleName()


@pytest.mark.parametrize("size", [(1366, 768), (1920, 1080)])
@pytest.mark.parametrize("lengthened", [False, True])
def test_no_word_is_cut_on_any_page(qtbot, look, ready, tmp_path, size, lengthened):
    look.lengthened = lengthened
    page = flow.open_page(qtbot, ready, "practice", tmp_path / "attempt.jsonl", size=size)
    look.overflows.clear()
    page.grab()
    flow.commit_plan(qtbot, page)
    flow.click(qtbot, page.work.carm.one)
    for name, column in page.work.columns.items():
        page.work.side.setCurrentWidget(column)
        page.bottom.setCurrentWidget(page.strips[name])
        page.grab()
    found = {text for text, *_ in look.overflows}
    page.leave()
    assert found == set()
    assert page.sizeHint().width() <= size[0]
    assert any(isinstance(one, Canvas) for one in page.findChildren(Canvas))


def test_the_debrief(qtbot, look, finished, tmp_path):
    told = []
    found = debriefed(finished.path, lambda *what: told.append(what), person="B-17")
    assert found.kept == "" and told
    page = DebriefPage(found)
    qtbot.addWidget(page)
    page.resize(1366, 768)
    page.show()
    assert len(page.rows) == len(found.score.items)
    page.scrubber.go_to(0)
    first = page.words.text()
    qtbot.keyClick(page, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: page.scrubber.at >= 2, timeout=20000)
    qtbot.keyClick(page, Qt.Key.Key_Space)
    assert page.words.text() != first and not page.timer.isActive()
    flow.click(qtbot, page.rows[0])
    assert page.rows[0].chosen
    with qtbot.waitSignal(page.step_again) as step:
        page._practise_from_here()
    assert len(step.args[2]) == page.scrubber.at
    qtbot.wait(50)
    look.overflows.clear()
    page.grab()
    assert look.overflows == []
    again = debriefed(finished.path, lambda *_: None, person="B-17")
    assert again.score == found.score
    page.leave()


def test_work_can_be_stopped(qtbot):
    from trainer.window.work import Work

    def task(progress):
        for number in range(10_000):
            progress(number, 10_000, "piece")
        return "done"

    work = Work(task)
    work.stop()
    with qtbot.waitSignal(work.signals.stopped, timeout=5000):
        work.start()
    sound, broken = Work(lambda _: 7), Work(lambda _: 1 / 0)
    with qtbot.waitSignal(sound.signals.done, timeout=5000) as done:
        sound.start()
    assert done.args == [7]
    with qtbot.waitSignal(broken.signals.failed, timeout=5000) as failed:
        broken.start()
    assert isinstance(failed.args[0], ZeroDivisionError)
    assert issubclass(Stopped, Exception)


def test_the_needle_goes_under_the_thumb_while_the_plunger_is_pressed(qtbot, look, ready, tmp_path):
    page = flow.open_page(qtbot, ready, "practice", tmp_path / "attempt.jsonl")
    flow.commit_plan(qtbot, page)
    flow.hold_needle(page)
    flow.click(qtbot, page.work.columns["picture"].through)
    for _ in range(10):
        flow.key(qtbot, page, Qt.Key.Key_Up)
    flow.click(qtbot, page.work.columns["needle"].stylet)
    qtbot.keyPress(page.work, Qt.Key.Key_P)
    qtbot.keyPress(page.work, Qt.Key.Key_Up)
    qtbot.keyRelease(page.work, Qt.Key.Key_Up)
    qtbot.keyRelease(page.work, Qt.Key.Key_P)
    last = [type(event) for event in page.session.attempt.events if not isinstance(event, e.PressSyringe)][-1]
    assert last is e.PushUnderPressure
    flow.key(qtbot, page, Qt.Key.Key_Up)
    assert isinstance(page.session.attempt.events[-1], e.PushNeedle)
    page.leave()
