"""The journal on disk: what survives a crash, what is dropped with a message, what is refused."""

import json
import os
import signal
import subprocess
import sys

import pytest

from scenarios import library
from trainer.attempt import journal
from trainer.attempt.events import AdvanceLead, PassLead, ReadItem, TurnLead, Undo

ORDINARY = library.load("ordinary-adult")
EVENTS = (ReadItem("story"), PassLead(), AdvanceLead(1.0 / 3.0), TurnLead(-1.5))


@pytest.fixture
def path(tmp_path):
    file = tmp_path / "attempt.jsonl"
    with journal.Journal.create(file, scenario=ORDINARY, seed=7) as written:
        for number, event in enumerate(EVENTS):
            written.write(event, digest=f"d{number}", stamp=0.5 * number)
    return file


def test_everything_comes_back(path):
    record = journal.read(path)
    assert record.events == EVENTS
    assert [entry.digest for entry in record.entries] == ["d0", "d1", "d2", "d3"]
    assert [entry.stamp for entry in record.entries] == [0.0, 0.5, 1.0, 1.5]
    assert (record.scenario, record.seed, record.dropped) == (ORDINARY, 7, None)
    assert record.tables == journal.tables_version()
    assert record.intact_bytes == path.stat().st_size


def test_an_existing_file_is_never_overwritten(path):
    before = path.read_bytes()
    with pytest.raises(FileExistsError):
        journal.Journal.create(path, scenario=ORDINARY, seed=7)
    assert path.read_bytes() == before


def test_at_every_torn_byte_the_whole_lines_are_kept(path):
    raw = path.read_bytes()
    header_end = raw.index(b"\n") + 1
    for cut in range(header_end, len(raw)):
        path.write_bytes(raw[:cut])
        record = journal.read(path)
        assert record.events == EVENTS[: raw[:cut].count(b"\n") - 1]
        torn = raw[cut - 1 : cut] != b"\n"
        assert (record.dropped is not None) == torn
        if torn:
            assert "the last line was torn and has been dropped" in record.dropped


def test_an_attempt_goes_on_after_a_torn_line(path):
    raw = path.read_bytes()
    path.write_bytes(raw[:-9])
    record = journal.read(path)
    with journal.Journal.resume(path, record) as written:
        written.write(EVENTS[-1], digest="d3", stamp=1.5)
    assert path.read_bytes() == raw


def test_a_killed_process_loses_nothing_that_was_written(tmp_path):
    file = tmp_path / "attempt.jsonl"
    code = (
        "import os, signal, sys\n"
        "from scenarios import library\n"
        "from trainer.attempt.journal import Journal\n"
        "from trainer.attempt.events import AdvanceLead\n"
        "j = Journal.create(sys.argv[1], scenario=library.load('ordinary-adult'), seed=1)\n"
        "for k in range(3): j.write(AdvanceLead(float(k)), digest=str(k))\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    run = subprocess.run([sys.executable, "-c", code, str(file)], capture_output=True, text=True)
    assert run.returncode == -signal.SIGKILL, run.stderr
    record = journal.read(file)
    assert record.events == tuple(AdvanceLead(float(k)) for k in range(3))
    assert record.dropped is None


def test_every_line_is_synced_before_write_returns(tmp_path, monkeypatch):
    synced = []
    real = os.fsync

    def watched(handle):
        synced.append(os.fstat(handle).st_size)
        real(handle)

    monkeypatch.setattr(journal.os, "fsync", watched)
    file = tmp_path / "attempt.jsonl"
    with journal.Journal.create(file, scenario=ORDINARY, seed=1) as written:
        for number in range(3):
            written.write(AdvanceLead(1.0), digest=str(number))
            assert synced[-1] == file.stat().st_size
    assert len(synced) == 4


def replaced(path, number, change):
    """Write the journal with one of its lines changed by `change`, a function of its bytes."""
    lines = path.read_bytes().split(b"\n")
    lines[number - 1] = change(lines[number - 1])
    path.write_bytes(b"\n".join(lines))


def with_value(**values):
    return lambda line: json.dumps({**json.loads(line), **values}).encode()


@pytest.mark.parametrize(
    ("number", "change", "words"),
    [
        (1, lambda line: b"", "line 1: the line must be a JSON object, got ''"),
        (1, lambda line: line[:50], "line 1: the line must be a JSON object"),
        (1, lambda line: b'{"a": 1}', "line 1: the line must be the header of a journal of format 2"),
        (1, with_value(journal=1), "line 1: the line must be the header of a journal of format 2"),
        (
            1,
            with_value(seed="x"),
            "line 1: the line must name journal, program, tables, units, scenario, seed, mode",
        ),
        (1, with_value(more=1), "line 1: the line must name journal, program"),
        (1, with_value(units="inch"), "line 1: the line must give the units as 'mm, N, s, rad, ml'"),
        (1, with_value(scenario={"title": "x"}), "line 1: patient must be given, got nothing"),
        (3, lambda line: line[:20], "line 3: the line must be a JSON object"),
        (3, lambda line: b"[1]", r"line 3: the line must be a JSON object, got '\[1\]'"),
        (3, with_value(state=None), "line 3: the line must carry the digest of a state and a stamp"),
        (1, with_value(mode="exam"), "line 1: the line must give the mode as one of practice, assessment"),
        (3, with_value(stamp=float("nan")), "line 3: the line must carry the digest of a state and a stamp"),
        (3, with_value(stamp=10**400), "line 3: the line must carry the digest of a state and a stamp"),
        (3, with_value(stamp="noon"), "line 3: the line must carry the digest of a state and a stamp"),
        (4, with_value(millimetres="x"), "line 4: millimetres must be a finite number, got 'x'"),
        (4, with_value(event="Jump"), "line 4: event must be one of ReadItem"),
    ],
)
def test_a_damaged_line_is_refused_with_its_number(path, number, change, words):
    replaced(path, number, change)
    with pytest.raises(ValueError, match=words) as error:
        journal.read(path)
    assert str(error.value).startswith(str(path))
    assert "\n" not in str(error.value)


def test_a_journal_of_another_version_can_be_read_and_says_so(path):
    replaced(path, 1, with_value(program="0.0.1"))
    record = journal.read(path)
    assert record.program == "0.0.1"
    assert record.events == EVENTS


def test_what_was_taken_back_does_not_stand(path):
    record = journal.read(path)
    with journal.Journal.resume(path, record) as written:
        written.write(Undo(), digest="d2", stamp=2.0)
        written.write(ReadItem("consent"), digest="d4", stamp=2.5)
    assert journal.read(path).events == (*EVENTS[:-1], ReadItem("consent"))
    assert len(journal.read(path).entries) == len(EVENTS) + 2


def test_an_empty_file_is_no_journal(tmp_path):
    file = tmp_path / "empty.jsonl"
    file.write_bytes(b"")
    with pytest.raises(ValueError, match="line 1: the line must be the header of a journal"):
        journal.read(file)


@pytest.mark.parametrize("seed", [-1, 2**32, 10**30])
def test_a_seed_that_cannot_be_drawn_from_is_refused(tmp_path, seed):
    path = tmp_path / "seeded.jsonl"
    journal.Journal.create(path, scenario=library.load("ordinary-adult"), seed=seed).close()
    with pytest.raises(ValueError, match="line 1: the line must give a seed from 0 to 4294967295"):
        journal.read(path)


def test_an_event_named_by_no_text_is_refused(tmp_path):
    path = tmp_path / "named.jsonl"
    journal.Journal.create(path, scenario=library.load("ordinary-adult"), seed=2**32 - 1).close()
    assert journal.read(path).seed == 2**32 - 1
    with path.open("a", encoding="utf-8") as file:
        file.write('{"event": ["PassLead"], "state": "x", "stamp": null}\n')
    with pytest.raises(ValueError, match="line 2: event must be one of ReadItem, .* got .'PassLead'.:"):
        journal.read(path)
