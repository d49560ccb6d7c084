"""The record of attempts from the command line, with a journal of the reference performer."""

import csv
import json

import pytest

from trainer import cli


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TRAINER_RECORDS", str(tmp_path / "records.sqlite"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))

    def call(*arguments, code=0):
        with pytest.raises(SystemExit) as ended:
            cli.main(["records", *map(str, arguments)])
        assert ended.value.code == code
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return told.out if code == 0 else told.err

    return call


def test_a_journal_goes_in_and_comes_out_as_tables_statements_and_a_curve(run, finished, tmp_path):
    assert "Added" in run("add", finished.path, "--person", "B-17")
    assert "there already" in run("add", finished.path, "--person", "B-17")
    assert "B-17" in run("list")
    (row,) = json.loads(run("list", "--person", "B-17", "--json"))
    assert row["case_title"] == finished.attempt.scenario.title
    assert "1 attempts" in run("people")
    run("export", tmp_path / "out")
    with open(tmp_path / "out" / "attempts.csv", encoding="utf-8", newline="") as file:
        assert [line["person"] for line in csv.DictReader(file)] == ["B-17"]
    statement = json.loads((tmp_path / "out" / "statements.jsonl").read_text(encoding="utf-8"))
    assert statement["result"]["score"]["raw"] == pytest.approx(row["percent"], abs=0.01)
    told = run("curve", "B-17", "-o", tmp_path / "curve.png")
    assert told.startswith("1 attempts")
    assert (tmp_path / "curve.png").read_bytes().startswith(b"\x89PNG")
    assert "1 attempt deleted" in run("delete", "B-17", "--yes")
    assert run("list").strip() == "No attempts."


def test_the_cohort_is_told_by_case(run, finished):
    assert run("cohort").strip() == "No attempts."
    run("add", finished.path, "--person", "A")
    head, line = run("cohort").splitlines()
    assert head.split()[:5] == ["Case", "Attempts", "People", "Passed", "Mean"]
    assert line.startswith(finished.attempt.scenario.title)
    (row,) = json.loads(run("cohort", "--json"))
    assert (row["attempts"], row["people"]) == (1, 1)


def test_another_station_is_taken_over(run, finished, tmp_path, monkeypatch):
    run("add", finished.path, "--person", "A")
    monkeypatch.setenv("TRAINER_RECORDS", str(tmp_path / "second.sqlite"))
    assert "1 new attempt." in run("import", tmp_path / "records.sqlite")
    assert "0 new attempts." in run("import", tmp_path / "records.sqlite")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("add", "missing.jsonl", "--person", "A"), "missing.jsonl must be a path that the program may use"),
        (("import", "missing.sqlite"), "the record must be a file or a URL, got 'missing.sqlite'"),
        (("curve", "nobody"), "person must have attempts in the record, got none for 'nobody'"),
    ],
)
def test_bad_input_is_told_in_one_sentence(run, arguments, words):
    assert words in run(*arguments, code=2)


def test_a_real_name_is_refused(run, finished):
    assert "person must be a pseudonym" in run("add", finished.path, "--person", "<b>", code=2)


def test_a_picture_of_another_kind_is_refused(run, finished, tmp_path):
    run("add", finished.path, "--person", "A")
    assert "must end in .png or .svg" in run("curve", "A", "-o", tmp_path / "curve.gif", code=2)
    assert not (tmp_path / "curve.gif").exists()
