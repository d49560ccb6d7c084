"""The table of a cohort against hand-made scores: only the last score of an attempt counts."""

import pytest

from tests.records.scores import made_entry
from trainer.records.cohort import cohort
from trainer.records.store import Store


@pytest.fixture
def store(tmp_path):
    with Store(f"sqlite:///{tmp_path / 'records.sqlite'}") as opened:
        yield opened


def test_an_empty_record_has_no_rows(store):
    assert cohort(store) == () and store.people() == []


def test_counts_shares_and_the_weakest_criteria(store):
    store.add(made_entry(1, person="A", percent=90.0, passed=True))
    store.add(made_entry(2, person="A", percent=50.0, passed=False))
    store.add(made_entry(3, person="B", percent=70.0, passed=False))
    store.add(made_entry(4, person="B", percent=60.0, passed=False, case="Another"))
    another, first = cohort(store)
    assert (another.case, another.attempts, another.people, another.passed, another.mean) == (
        "Another", 1, 1, 0.0, 60.0,
    )  # fmt: skip
    assert (first.attempts, first.people, first.mean) == (3, 2, 70.0)
    assert first.passed == pytest.approx(1.0 / 3.0)
    # The invented score loses all of "Levels counted" and nothing of "Dura untouched".
    assert first.weakest == (("Levels counted", 1.0),)
    assert store.people() == [("A", 2, 1, 70.0), ("B", 2, 0, 65.0)]


def test_a_later_score_takes_the_place_of_the_first(store):
    store.add(made_entry(1, person="A", percent=90.0, passed=True))
    store.add(made_entry(1, person="A", percent=40.0, passed=False, version=2))
    (row,) = cohort(store)
    assert (row.attempts, row.passed, row.mean) == (1, 0.0, 40.0)
    assert store.people() == [("A", 1, 0, 40.0)]
    (found,) = store.attempts(person="A")
    assert (found["percent"], found["rubric_version"]) == (40.0, 2)
    assert store.attempts(person="B") == [] and len(store.attempts(mode="practice")) == 1
