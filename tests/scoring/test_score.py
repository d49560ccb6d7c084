"""Scores: critical errors, cases that are put off, other rubrics, and the ranking of performers."""

import json

import pytest

from scenarios import library
from scenarios.scenario import RUBRICS
from trainer.attempt.attempt import Attempt
from trainer.attempt.performer import perform
from trainer.attempt.performer_habits import PERFORMERS, habits_of
from trainer.scoring.log import Log
from trainer.scoring.rubric import from_toml, load
from trainer.scoring.score import score_attempt, score_log

RUBRIC = load("default")
DEFAULT = (RUBRICS / "default.toml").read_text(encoding="utf-8")
# The criterion that each fault must cost.
OWN = {
    "steep": ("approach",),
    "off-midline": ("tip-offset",),
    "no-lateral": ("lateral", "depth-before", "depth-after"),
    "impatient": ("steps", "overshoot", "braced"),
    "lost-level": ("count",),
}


@pytest.fixture(scope="session")
def scores(performed):
    return {name: score_attempt(attempt) for name, attempt in performed.items()}


def test_the_expert_passes(scores):
    assert scores["expert"].passed
    assert scores["expert"].critical_errors == ()
    assert scores["expert"].percent > 95.0


@pytest.mark.parametrize("name", sorted(OWN))
def test_a_fault_costs_points_and_its_own_criterion(scores, name):
    assert scores[name].percent < scores["expert"].percent
    for key in OWN[name]:
        assert scores[name].item(key).earned < scores["expert"].item(key).earned


def test_a_critical_error_fails_whatever_the_points(scores):
    assert scores["no-lateral"].percent > scores["no-lateral"].pass_percent
    assert not scores["no-lateral"].passed
    assert scores["no-lateral"].critical_errors == ("Lead seen from the side in the end",)
    assert scores["no-lateral"].dearest[0].key == "lateral"


def test_points_add_up(scores):
    for score in scores.values():
        assert score.earned == pytest.approx(sum(item.earned for item in score.items))
        assert all(0.0 <= item.earned <= item.points for item in score.items)
        assert score.percent == pytest.approx(100.0 * score.earned / score.points)


def test_a_score_is_plain_data(scores):
    record = json.loads(json.dumps(scores["steep"].record(), allow_nan=False))
    assert record["rubric_digest"] == RUBRIC.digest
    assert record["items"][0]["key"] == "safety-items"


def test_another_rubric_gives_another_score_of_the_same_log(performed):
    log = Log.of(performed["no-lateral"])
    text = DEFAULT.replace("version = 2", "version = 3", 1)
    place = text.index('key = "lateral"')
    milder = text[:place] + text[place:].replace("critical = true\n", "", 1)
    score = score_log(log, from_toml(milder, source="mine"))
    assert score.passed
    assert (score.rubric_version, score.rubric_digest != RUBRIC.digest) == (3, True)
    assert score.points == score_log(log, RUBRIC).points


def test_an_attempt_that_is_broken_off_earns_little(finished):
    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    score = score_attempt(attempt)
    assert not score.passed
    assert "Leads in place" not in score.critical_errors or score.item("leads").failed
    assert score.percent < 20.0


@pytest.fixture(scope="session")
def blood_thinner():
    return Attempt(library.load("blood-thinner"))


def test_a_case_put_off_rightly_is_judged_by_the_plan_alone(blood_thinner):
    attempt = Attempt(blood_thinner.scenario, anatomy=blood_thinner.anatomy)
    perform(attempt)
    score = score_attempt(attempt)
    assert attempt.state.plan.decision == "defer"
    assert {item.part for item in score.items} == {"plan"}
    assert score.passed


def test_a_case_done_that_should_be_put_off_fails(blood_thinner):
    attempt = Attempt(blood_thinner.scenario, anatomy=blood_thinner.anatomy)
    perform(attempt, habits=habits_of("no-lateral"))
    score = score_attempt(attempt)
    assert "Case taken, put off or declined rightly" in score.critical_errors
    assert not score.passed


def ranking(case):
    """Return {performer: Score} at a case."""
    scenario, anatomy, found = library.load(case), None, {}
    for name in PERFORMERS:
        attempt = Attempt(scenario, anatomy=anatomy)
        anatomy = attempt.anatomy
        performance = perform(attempt, habits=habits_of(name))
        found[name] = score_attempt(attempt)
        if name == "expert":
            assert performance.reached == (scenario.decision.expected == "proceed")
    return found


def check_ranking(case):
    found = ranking(case)
    expert = found.pop("expert")
    assert expert.passed, case
    for name, score in found.items():
        assert score.percent < expert.percent, (case, name)
        if library.load(case).decision.expected == "proceed":
            assert any(score.item(key).lost > expert.item(key).lost for key in OWN[name]), (case, name)


def test_the_expert_is_above_every_weaker_performer_with_two_leads():
    check_ranking("two-leads")


@pytest.mark.sweep
@pytest.mark.parametrize("case", library.names())
def test_the_expert_is_above_every_weaker_performer_at_every_case(case):
    check_ranking(case)
