"""The same events give the same bits, in this process and in another; undo is replay without the last."""

import json
import os
import subprocess
import sys

import pytest

from trainer.attempt import journal
from trainer.attempt.attempt import Attempt
from trainer.attempt.events import ReadItem, Undo
from trainer.attempt.replay import repeat, resumed
from trainer.attempt.state import digest


def test_the_journal_holds_the_attempt(finished):
    record = journal.read(finished.path)
    assert record.events == finished.attempt.events
    assert [entry.digest for entry in record.entries] == [done.digest for done in finished.attempt.done]
    assert record.dropped is None


REPEAT = (
    "import sys\n"
    "from trainer.attempt import journal\n"
    "from trainer.attempt.replay import repeat\n"
    "replayed = repeat(journal.read(sys.argv[1]))\n"
    "print(replayed.identical, replayed.attempt.done[-1].digest)\n"
)


def repeated(finished, **environment):
    """Return what a second process says of the attempt's journal."""
    command = [sys.executable, "-c", REPEAT, str(finished.path)]
    run = subprocess.run(command, capture_output=True, text=True, env={**os.environ, **environment})
    assert run.returncode == 0, run.stderr
    return run.stdout.split()


def test_a_second_process_meets_every_digest(finished):
    assert repeated(finished) == ["True", finished.attempt.done[-1].digest]


@pytest.mark.slow
def test_a_process_that_compiles_and_builds_everything_afresh_meets_every_digest(finished, tmp_path):
    afresh = repeated(finished, TRAINER_CACHE_DIR=str(tmp_path))
    assert afresh == ["True", finished.attempt.done[-1].digest]


def cut(finished, count, tmp_path, change=None):
    """Return a Record of the first `count` events, one line changed by `change`."""
    lines = [json.loads(line) for line in finished.path.read_text(encoding="utf-8").splitlines()]
    lines = lines[: count + 1]
    if change:
        change(lines)
    file = tmp_path / "cut.jsonl"
    file.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    return journal.read(file)


def test_the_first_difference_is_found(finished, tmp_path):
    def other_digest(lines):
        lines[4]["state"] = "0" * 24

    replayed = repeat(cut(finished, 8, tmp_path, other_digest), anatomy=finished.attempt.anatomy)
    assert replayed.first_difference == 4
    assert not replayed.identical
    assert len(replayed.attempt.done) == 8


def test_a_changed_number_is_found_where_it_first_acts(finished, tmp_path):
    def other_depth(lines):
        number = next(k for k, line in enumerate(lines) if line.get("event") == "PushNeedle")
        lines[number]["millimetres"] += 1e-3

    record = cut(finished, 40, tmp_path, other_depth)
    changed = 1 + [type(event).__name__ for event in record.events].index("PushNeedle")
    assert repeat(record, anatomy=finished.attempt.anatomy).first_difference == changed


def test_an_event_that_cannot_follow_is_refused_with_its_number(finished, tmp_path):
    def too_early(lines):
        lines[1] = {"event": "PassLead", "state": "x", "stamp": None}

    with pytest.raises(ValueError, match="jsonl line 2: event 1 was refused: event must be one of"):
        repeat(cut(finished, 3, tmp_path, too_early), anatomy=finished.attempt.anatomy)


def test_another_version_is_told(finished, tmp_path):
    def older(lines):
        lines[0]["tables"] = "0" * 16

    anatomy = finished.attempt.anatomy
    assert not repeat(cut(finished, 2, tmp_path, older), anatomy=anatomy).same_version
    assert repeat(cut(finished, 2, tmp_path), anatomy=anatomy).same_version


def test_undo_is_replay_without_the_last_event(finished):
    events = finished.attempt.events[:40]
    attempt, shorter = (
        Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy) for _ in range(2)
    )
    for event in events:
        attempt.do(event)
    for event in events[:-1]:
        shorter.do(event)
    assert digest(attempt.undo()) == shorter.done[-1].digest == digest(attempt.state)
    assert attempt.undone == 1
    assert attempt.events == events[:-1]


def test_undo_down_to_the_first_state_and_no_further(finished):
    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    attempt.do(ReadItem("story"))
    assert digest(attempt.undo()) == digest(attempt.first)
    with pytest.raises(ValueError, match="events must hold at least one event to undo, got none"):
        attempt.undo()


def test_an_assessment_takes_nothing_back(finished):
    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy, mode="assessment")
    attempt.do(ReadItem("story"))
    with pytest.raises(ValueError, match="mode must be practice to undo, got assessment"):
        attempt.do(Undo())
    assert attempt.events == (ReadItem("story"),)


def test_an_undo_is_written_and_repeated(finished, tmp_path):
    anatomy, path = finished.attempt.anatomy, tmp_path / "undone.jsonl"
    scenario = finished.attempt.scenario
    with journal.Journal.create(path, scenario=scenario, seed=3, mode="practice") as written:
        attempt = Attempt(scenario, seed=3, anatomy=anatomy, journal=written)
        attempt.do(ReadItem("story"))
        attempt.do(ReadItem("consent"))
        attempt.undo()
        attempt.do(ReadItem("infection"))
    replayed = repeat(journal.read(path), anatomy=anatomy)
    assert replayed.identical
    assert replayed.attempt.events == attempt.events == (ReadItem("story"), ReadItem("infection"))


def test_an_attempt_goes_on_where_it_broke_off(finished, tmp_path):
    path = tmp_path / "broken.jsonl"
    whole = finished.path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(whole[:30]) + whole[30][:20])
    attempt, replayed, record = resumed(path, anatomy=finished.attempt.anatomy)
    assert replayed.identical
    assert "torn and has been dropped" in record.dropped
    for event in finished.attempt.events[29:]:
        attempt.do(event)
    attempt.journal.close()
    again = journal.read(path)
    assert again.events == finished.attempt.events
    assert again.dropped is None
