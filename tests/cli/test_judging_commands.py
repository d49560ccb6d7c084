"""`score`, `perform` and `report` from outside: what they answer, and one sentence for bad input."""

import json
import re
import shutil

import pytest

from scenarios.scenario import RUBRICS
from trainer.attempt.attempt import Attempt
from trainer.attempt.journal import Journal, read
from trainer.cli import main
from trainer.scoring.score import score_attempt
from trainer.scoring.words import advice


@pytest.fixture
def run(capsys):
    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return ended.value.code, told.out, told.err

    return run


@pytest.fixture(scope="module")
def short(finished, tmp_path_factory):
    """Return the journal of the plan and the pictures of the finished attempt: quick to repeat."""
    path = tmp_path_factory.mktemp("short") / "short.jsonl"
    scenario = finished.attempt.scenario
    with Journal.create(path, scenario=scenario, seed=scenario.seed) as journal:
        attempt = Attempt(scenario, journal=journal, anatomy=finished.attempt.anatomy)
        for event in finished.attempt.events[:12]:
            attempt.do(event, stamp=60.0)
    return path


@pytest.fixture
def damaged(short, tmp_path):
    """Return a journal whose third line is no event any more."""
    lines = short.read_text(encoding="utf-8").splitlines(keepends=True)
    path = tmp_path / "damaged.jsonl"
    path.write_text("".join([*lines[:2], '{"event": "Jump"}\n', *lines[3:]]), encoding="utf-8")
    return path


@pytest.fixture
def strict(tmp_path):
    """Return a rubric file that differs from the default in its pass mark."""
    text = (RUBRICS / "default.toml").read_text(encoding="utf-8")
    changed, count = re.subn(r"^pass_percent = .*$", "pass_percent = 99.0", text, flags=re.MULTILINE)
    assert count == 1
    path = tmp_path / "strict.toml"
    path.write_text(changed, encoding="utf-8")
    return path


def test_score_tells_what_the_library_finds(run, finished):
    score = score_attempt(finished.attempt)
    code, out, _ = run("score", finished.path)
    assert code == 0
    assert f"{score.earned:.1f} of {score.points:g} points" in out
    for item in score.items:
        assert item.title in out and item.asked in out
    assert all(f"Next time: {words}" in out for words in advice(score))
    assert json.loads(run("score", finished.path, "--json")[1]) == json.loads(json.dumps(score.record()))


def test_another_rubric_judges_the_same_attempt(run, short, strict):
    usual, other = (
        json.loads(run("score", short, "--json", *more)[1]) for more in ((), ("--rubric", strict))
    )
    assert other["pass_percent"] == 99.0 != usual["pass_percent"]
    assert other["rubric_digest"] != usual["rubric_digest"]
    assert [item["value"] for item in other["items"]] == [item["value"] for item in usual["items"]]


def test_report_writes_one_file_or_two(run, short, strict, tmp_path):
    folder = tmp_path / "new" / "folder"
    code, out, _ = run("report", short, "-o", folder, "--pdf", "--rubric", strict)
    assert code == 0
    assert out.splitlines() == [str(folder / "report.html"), str(folder / "report.pdf")]
    assert sorted(file.name for file in folder.iterdir()) == ["report.html", "report.pdf"]
    text = (folder / "report.html").read_text(encoding="utf-8")
    assert read(short).scenario.title in text and "99 of 100 passes" in text
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")


def test_report_stands_beside_the_journal_unless_told(run, short, tmp_path):
    journal = shutil.copy(short, tmp_path / "mine.jsonl")
    assert run("report", journal)[0] == 0
    assert sorted(file.name for file in tmp_path.iterdir()) == ["mine.jsonl", "report.html"]


def test_a_torn_last_line_is_dropped_and_told(run, short, tmp_path):
    torn = tmp_path / "torn.jsonl"
    torn.write_text(short.read_text(encoding="utf-8") + '{"event": "Tak', encoding="utf-8")
    code, out, err = run("score", torn)
    assert code == 0 and "points" in out
    assert "torn.jsonl" in err


def test_a_performer_records_and_is_scored(run, tmp_path):
    path = tmp_path / "refused.jsonl"
    code, out, _ = run("perform", "fever", "--as", "expert", "--assess", "-o", path, "--json")
    assert code == 0
    performed = json.loads(out)
    assert performed["mode"] == "assessment" and performed["passed"]
    assert json.loads(run("score", path, "--json")[1]) == performed


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ("perform ordinary-adult --as nobody", "performer must be one of expert, steep, .*, got 'nobody'"),
        ("perform nobody", "case must be one of"),
        ("perform fever -o {journal}", ".*must"),
        ("score {journal} --rubric none.toml", "rubric must be .*got 'none.toml'"),
        ("report {journal} --rubric none.toml -o {folder}", "rubric must be .*got 'none.toml'"),
        ("score {damaged}", ".*damaged.jsonl line 3: "),
        ("report {damaged} -o {folder}", ".*damaged.jsonl line 3: "),
        ("score none.jsonl", "none.jsonl must be a path that the program may use"),
        ("report none.jsonl", "none.jsonl must be a path that the program may use"),
        ("report {journal} -o {journal}", ".*short.jsonl must be a path that the program may use"),
    ],
)
def test_bad_input_is_one_sentence(run, short, damaged, tmp_path, call, words):
    folder = tmp_path / "folder"
    before = short.read_bytes()
    code, out, err = run(*call.format(journal=short, damaged=damaged, folder=folder).split())
    assert (code, out) == (2, "")
    (sentence,) = err.splitlines()
    assert re.match(f"trainer: {words}", sentence), sentence
    assert not folder.exists() and short.read_bytes() == before, "nothing begun, nothing lost"
