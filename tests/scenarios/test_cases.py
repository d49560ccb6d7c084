"""The built-in cases: a card each, something to teach, some that must be put off; and the card's refusals."""

import pytest

from scenarios import library
from scenarios.scenario import from_toml

CASES = {name: library.load(name) for name in library.names()}
TEXT = (library.FOLDER / "blood-thinner.toml").read_text(encoding="utf-8")


def test_there_are_at_least_ten_from_easy_to_hard():
    assert len(CASES) >= 10
    assert sum(case.decision.expected == "proceed" for case in CASES.values()) >= 8
    assert {case.decision.expected for case in CASES.values()} == {"proceed", "defer", "refuse"}
    assert {case.task.leads for case in CASES.values()} == {1, 2}


@pytest.mark.parametrize("name", sorted(CASES))
def test_each_says_what_it_teaches_and_has_a_card(name):
    case = CASES[name]
    assert len(case.teaches) > 30
    assert case.patient.startswith("Invented: ")
    assert f" of {case.card.age}" in case.patient
    assert case.card.sex in case.patient
    assert case.task.interspace in case.task.interspaces
    assert case.task.target_level in case.task.targets
    assert case.version >= 1


def test_titles_and_seeds_differ():
    assert len({case.title for case in CASES.values()}) == len(CASES)
    assert len({case.seed for case in CASES.values()}) == len(CASES)


@pytest.mark.parametrize("name", sorted(CASES))
def test_each_survives_the_way_to_text_and_back(name):
    assert from_toml(CASES[name].to_toml(), source="x") == CASES[name]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("age = 69", "age = 9", r"line \d+: card.age must lie between 18 and 100, got 9"),
        ('sex = "man"', 'sex = "other"', r"line \d+: card.sex must be 'woman' or 'man', got \"other\""),
        ('"left lower leg", ', '"nose", ', r"line \d+: card.pain must be taken from low back, .* got 'nose'"),
        (
            'expected = "defer"',
            'expected = "proceed"',
            "decision must have reasons where the case is put off",
        ),
        ('reasons = ["antithrombotics"]', 'reasons = ["rain"]', "decision.reasons must be taken from"),
        (
            "antithrombotic = true",
            'antithrombotic = "yes"',
            "card.medicines.1.antithrombotic must be true or false",
        ),
        (
            "time_guide_min = 5.0",
            "time_guide_min = 0.0",
            r"line \d+: time_guide_min must lie between 1 and 240",
        ),
        (
            'teaches = "',
            'rubric = "mine"\nteaches = "',
            r"line \d+: rubric must be one of default, got 'mine'",
        ),
        (
            "largest_approach_deg",
            "leads = 3\nlargest_approach_deg",
            "task.leads must lie between 1 and 2, got 3",
        ),
        ('"T11-T12", ', '"T1-T2", ', "task.permitted_interspaces must be one of"),
        ("version = 1", "version = 0", "version must lie between 1 and 10000, got 0"),
    ],
)
def test_a_wrong_case_is_refused_with_its_line(old, new, words):
    assert old in TEXT
    with pytest.raises(ValueError, match=words) as error:
        from_toml(TEXT.replace(old, new, 1), source="mine.toml")
    assert str(error.value).startswith("mine.toml line ")
