"""Start, settings, journals and what happens when something breaks."""

import logging
import subprocess
import sys

import pytest

from trainer.window import application, settings
from trainer.window.attempt_files import day_words, listed, new_journal
from trainer.window.guard import lost_references


@pytest.mark.parametrize(
    ("environment", "platform", "missing"),
    [
        ({}, "linux", True),
        ({"DISPLAY": ":0"}, "linux", False),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", False),
        ({"QT_QPA_PLATFORM": "offscreen"}, "linux", False),
        ({}, "darwin", False),
        ({}, "win32", False),
    ],
)
def test_whether_there_is_a_display(environment, platform, missing):
    assert application.display_missing(environment, platform) is missing


@pytest.mark.parametrize("arguments", [[], ["practise", "ordinary-adult"], ["assess", "ordinary-adult"]])
def test_without_a_display_a_sentence_and_exit_code_two(arguments, monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    command = "import sys; from trainer.cli import main; sys.platform = 'linux'; main(sys.argv[1:])"
    run = subprocess.run([sys.executable, "-c", command, *arguments], capture_output=True, text=True)
    assert run.returncode == 2
    assert run.stderr.count("\n") == 1
    assert "a display must be there" in run.stderr and "trainer demo" in run.stderr


def test_the_binding_loses_no_reference_to_none(qapp):
    """One pairing of binding and interpreter does, and ends within seconds; see guard.py."""
    from PySide6.QtGui import QImage, QPainter

    image = QImage(64, 64, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    lost = lost_references(lambda: painter.drawLine(0, 0, 9, 9), times=2000)
    painter.end()
    assert abs(lost) < 50


def test_settings_come_back(own_folders):
    chosen = settings.Settings(text_size="large", left_handed=True, width=1920, height=1080)
    settings.store(chosen)
    assert settings.load() == chosen


@pytest.mark.parametrize(
    "text", ["not toml [", 'text_size = "huge"\nleft_handed = "yes"\nwidth = -3\n', "\x00", "tone = 1\n"]
)
def test_settings_that_make_no_sense_are_taken_as_not_chosen(own_folders, text):
    settings.store(settings.Settings(left_handed=True))
    (settings.config_folder() / settings.FILE).write_text(text)
    assert settings.load() == settings.Settings()


def test_an_uncaught_error_goes_to_the_log_and_is_told_once(own_folders, monkeypatch):
    monkeypatch.setattr(sys, "excepthook", sys.excepthook)
    path = application.keep_log()
    told = []
    application.catch_errors(told.append)
    try:
        raise RuntimeError("the needle is lost")
    except RuntimeError:
        sys.excepthook(*sys.exc_info())
    for handler in application.log.handlers:
        handler.flush()
    assert told == ["RuntimeError: the needle is lost"]
    assert "Traceback" in path.read_text() and "the needle is lost" in path.read_text()
    for handler in list(application.log.handlers):
        application.log.removeHandler(handler)
        handler.close()
    assert logging.getLogger("trainer").handlers == []


def test_a_hard_crash_leaves_its_trace(own_folders):
    crash = (
        "import faulthandler; from trainer.window import application; "
        "file = application.keep_faults(); faulthandler._sigsegv()"
    )
    run = subprocess.run([sys.executable, "-c", crash], capture_output=True)
    assert run.returncode != 0
    trace = (application.state_folder() / application.FAULTS).read_text()
    assert "Segmentation fault" in trace or "Fatal Python error" in trace


def test_journals_get_names_of_their_own_and_are_listed(own_folders):
    from scenarios import library

    case = library.load("ordinary-adult")
    paths = []
    for _ in range(2):
        journal, path = new_journal(case, seed=1, mode="practice")
        journal.close()
        paths.append(path)
    assert len(set(paths)) == 2
    (paths[0].parent / "other.jsonl").write_text("no journal")
    found = listed()
    assert [one.title for one in found] == [case.title] * 2
    assert not any(one.finished for one in found)


def test_days_in_words():
    noon = 1_760_000_000.0
    assert day_words(noon, now=noon + 60.0) == "today"
    assert day_words(noon - 86400.0, now=noon) == "yesterday"
    assert day_words(noon - 10 * 86400.0, now=noon)[0].isdigit()
