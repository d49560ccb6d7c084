"""What leaves the record: tables for statistics, statements for a learning record store."""

import csv
import json
import re
import uuid
from urllib.parse import urlparse

import pytest

from tests.records.scores import made_entry
from trainer.records.csv_export import ATTEMPT_COLUMNS, CRITERION_COLUMNS, write_csv
from trainer.records.learning_statements import duration, local_salt, statement, write_statements
from trainer.records.store import Store

SALT = bytes(32)


@pytest.fixture
def rows(tmp_path):
    with Store(f"sqlite:///{tmp_path / 'records.sqlite'}") as store:
        store.add(made_entry(1, percent=64.0, passed=False))
        store.add(made_entry(2, person="C 3"))
        return store.attempts()


def read_csv(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_tables_join_and_are_explained(rows, tmp_path):
    attempts, criteria, dictionary = (read_csv(path) for path in write_csv(tmp_path / "out", rows))
    assert [row["percent"] for row in attempts] == ["64.0", "80.0"]
    assert {row["attempt"] for row in criteria} == {row["attempt"] for row in attempts}
    assert len(criteria) == 4
    explained = {(row["file"], row["column"]) for row in dictionary}
    assert explained == {
        *(("attempts.csv", column) for column in ATTEMPT_COLUMNS),
        *(("criteria.csv", column) for column in CRITERION_COLUMNS),
    }
    assert [row["value"] for row in criteria[:2]] == ["0.0", "0"]


def test_no_cell_is_a_formula(rows, tmp_path):
    rows[0]["station"] = "=HYPERLINK(1)"
    (attempts, *_) = (read_csv(path) for path in write_csv(tmp_path / "out", rows))
    assert attempts[0]["station"] == "'=HYPERLINK(1)"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(1834.5, "PT30M34.5S"), (0.0, "PT0S"), (59.999, "PT1M0S"), (3661.25, "PT1H1M1.25S"), (7200.0, "PT2H0S")],
)
def test_durations(seconds, text):
    """ISO 8601; the first is the worked example of the statement's specification notes."""
    assert duration(seconds) == text


def valid(found):
    """Check a statement by the rules of the specification, part two, sections 2.2 and 2.4 (from memory)."""
    iri = re.compile(r"[a-z][a-z0-9+.-]*://\S+")
    assert set(found) <= {"id", "actor", "verb", "object", "result", "context", "timestamp"}
    assert str(uuid.UUID(found["id"])) == found["id"]
    account = found["actor"]["account"]
    assert set(found["actor"]) == {"objectType", "account"}, "one identifier only"
    assert urlparse(account["homePage"]).scheme == "https"
    assert re.fullmatch(r"[0-9a-f]{20}", account["name"])
    assert iri.fullmatch(found["verb"]["id"]) and iri.fullmatch(found["object"]["id"])
    assert iri.fullmatch(found["object"]["definition"]["type"])
    score = found["result"]["score"]
    assert -1.0 <= score["scaled"] <= 1.0 and score["min"] <= score["raw"] <= score["max"]
    assert isinstance(found["result"]["success"], bool) and isinstance(found["result"]["completion"], bool)
    assert re.fullmatch(r"P(T(\d+H)?(\d+M)?(\d+(\.\d+)?S)?)", found["result"]["duration"])
    assert all(iri.fullmatch(key) for key in found["result"]["extensions"])
    assert str(uuid.UUID(found["context"]["registration"])) == found["context"]["registration"]
    assert iri.fullmatch(found["context"]["contextActivities"]["parent"][0]["id"])
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", found["timestamp"])


def test_statements_follow_the_rules(rows):
    for row in rows:
        valid(statement(row, salt=SALT))


def test_a_statement_hides_the_person_and_repeats_itself(rows):
    first, second = (statement(row, salt=SALT) for row in rows)
    assert "B-17" not in json.dumps(first)
    assert first == statement(rows[0], salt=SALT)
    assert first["id"] != second["id"]
    assert first["context"]["registration"] != second["context"]["registration"]
    other = statement(rows[0], salt=b"x" * 32)
    assert other["actor"]["account"]["name"] != first["actor"]["account"]["name"]
    assert (first["verb"]["display"]["en"], second["verb"]["display"]["en"]) == ("failed", "passed")


def test_statements_go_to_a_file_line_by_line(rows, tmp_path):
    salt = local_salt(tmp_path)
    assert salt == local_salt(tmp_path) and len(salt) == 32
    assert write_statements(tmp_path / "statements.jsonl", rows, salt=salt) == 2
    lines = (tmp_path / "statements.jsonl").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["result"]["success"] for line in lines] == [False, True]
