"""Many cases at once: the same file to the last byte wherever it was made, gone on with after a kill."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from trainer.physics.many import CancelledError, ask_all

CASES = [f"case {k}" for k in range(9)]


@dataclass(frozen=True)
class Slowly:
    """A question that leaves a mark each time it is answered, and takes its time over it."""

    marks: str
    seconds: float = 0.0

    def told(self):
        return {"wanted": "a third"}


def answer(case, question):
    """Return a record; later cases finish sooner."""
    number = int(case.split()[1])
    time.sleep(question.seconds * (len(CASES) - number) / len(CASES))
    with open(Path(question.marks) / f"{number}", "a", encoding="utf-8") as mark:
        mark.write(".")
    return {"case": case, "third": number / 3.0, "pair": (number, None)}


@pytest.fixture
def marks(tmp_path):
    folder = tmp_path / "marks"
    folder.mkdir()
    return folder


@pytest.fixture
def wanted(tmp_path, marks):
    """Return the bytes of the file that one process makes in order."""
    file = tmp_path / "wanted.jsonl"
    ask_all(CASES, answer, Slowly(str(marks)), path=file)
    for mark in marks.iterdir():
        mark.unlink()
    return file.read_bytes()


def test_records_come_in_the_order_of_the_cases(tmp_path, marks):
    told = []
    records = ask_all(
        CASES, answer, Slowly(str(marks)), path=tmp_path / "a.jsonl", progress=lambda *seen: told.append(seen)
    )
    assert [record["case"] for record in records] == CASES
    assert records[2] == {"case": "case 2", "third": 2 / 3, "pair": [2, None]}
    assert told[0] == (0, 9, "asking") and told[-1] == (9, 9, "case 8")
    text = (tmp_path / "a.jsonl").read_text(encoding="utf-8")
    assert text.startswith('{"format": 1, "wanted": "a third"}\n') and text.count("\n") == 10


def test_a_pool_makes_the_same_file(tmp_path, marks, wanted):
    for workers in (2, 3):
        file = tmp_path / f"{workers}.jsonl"
        ask_all(CASES, answer, Slowly(str(marks), 0.1), path=file, workers=workers)
        assert file.read_bytes() == wanted


def test_a_cluster_makes_the_same_file(tmp_path, marks, wanted):
    from distributed import LocalCluster

    file = tmp_path / "cluster.jsonl"
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None, silence_logs=50
    ) as cluster:
        ask_all(
            CASES, answer, Slowly(str(marks), 0.05), path=file, workers=2, cluster=cluster.scheduler_address
        )
    assert file.read_bytes() == wanted


def test_a_cancelled_run_is_gone_on_with(tmp_path, marks, wanted):
    file, question = tmp_path / "stopped.jsonl", Slowly(str(marks))
    with pytest.raises(CancelledError, match="cancelled after 3 of 9 cases: start again to go on"):
        ask_all(CASES, answer, question, path=file, cancelled=lambda: len(list(marks.iterdir())) == 3)
    # What a kill in the middle of a line leaves behind.
    with open(file, "ab") as torn:
        torn.write(b'{"case": "case 5", "thi')
    ask_all(CASES, answer, question, path=file)
    assert file.read_bytes() == wanted
    assert [mark.read_text() for mark in sorted(marks.iterdir())] == ["."] * 9


def test_a_cancelled_pool_ends_soon(tmp_path, marks):
    cases = [f"case {k}" for k in range(9)] * 1
    with pytest.raises(CancelledError):
        ask_all(
            cases,
            answer,
            Slowly(str(marks), 0.2),
            path=tmp_path / "p.jsonl",
            workers=2,
            cancelled=lambda: True,
        )
    assert 1 <= len(list(marks.iterdir())) < 9


def test_a_killed_run_is_gone_on_with(tmp_path, marks, wanted):
    file, here = tmp_path / "killed.jsonl", Path(__file__)
    code = (
        f"import sys; sys.path[:0] = [{str(here.parent)!r}, {str(here.parents[2])!r}]\n"
        "from test_many import CASES, Slowly, answer\nfrom trainer.physics.many import ask_all\n"
        f"ask_all(CASES, answer, Slowly({str(marks)!r}, 0.6), path={str(file)!r})\n"
    )
    running = subprocess.Popen([sys.executable, "-c", code], env=os.environ)
    deadline = time.monotonic() + 60.0
    while (not file.exists() or file.read_bytes().count(b"\n") < 3) and time.monotonic() < deadline:
        time.sleep(0.02)
    running.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
    running.wait()
    finished = file.read_bytes().count(b"\n") - 1
    assert 2 <= finished < 9
    ask_all(CASES, answer, Slowly(str(marks)), path=file)
    assert file.read_bytes() == wanted
    assert sum(len(mark.read_text()) for mark in marks.iterdir()) <= 10


def test_what_the_file_held_besides_is_kept(tmp_path, marks):
    file = tmp_path / "more.jsonl"
    ask_all(CASES[:4], answer, Slowly(str(marks)), path=file)
    records = ask_all(CASES[2:3], answer, Slowly(str(marks)), path=file)
    assert len(records) == 1 and file.read_text(encoding="utf-8").count('"case"') == 4


def test_guards(tmp_path, marks):
    file, question = tmp_path / "g.jsonl", Slowly(str(marks))
    with pytest.raises(ValueError, match="cases must be named once each, got 'case 1' twice"):
        ask_all(["case 1", "case 2", "case 1"], answer, question, path=file)
    with pytest.raises(ValueError, match="workers must be at least 1, got 0"):
        ask_all(["case 1"], answer, question, path=file, workers=0)
    assert len(ask_all(["case 1"], answer, question, path=file)) == 1
    file.write_text(file.read_text().replace("a third", "a half"))
    with pytest.raises(ValueError, match="the file must belong to this question"):
        ask_all(["case 1"], answer, question, path=file)
    file.write_text("not JSON\n")
    with pytest.raises(ValueError, match="each line must be JSON"):
        ask_all(["case 1"], answer, question, path=file)


def test_a_cluster_that_does_not_answer_is_refused(tmp_path, marks, monkeypatch):
    with pytest.raises(ValueError, match="cluster must be the address of a scheduler that answers, got 'now"):
        ask_all(["case 1"], answer, Slowly(str(marks)), path=tmp_path / "n.jsonl", cluster="nowhere://a")
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ValueError, match="a cluster must have the package distributed"):
        ask_all(["case 1"], answer, Slowly(str(marks)), path=tmp_path / "m.jsonl", cluster="tcp://a:1")
