"""The harder an interspace is rated, the less often the reference performer gets there."""

import pytest
from scipy.stats import spearmanr

from meshes.units import radians
from scenarios import library
from trainer.attempt.attempt import Attempt
from trainer.attempt.performer import perform
from trainer.physics.difficulty import rate
from trainer.physics.needle import Needle

HOLLOW_AND_HEAVY = {"body_mass_index": 40.0, "lumbar_lordosis_deg": 80.0}
WORN = {"facet_hypertrophy": 1.0, "window_scale": 0.75, "lumbar_lordosis_deg": 75.0}
CASES = (
    ("T12-L1", 40.0, {}),
    ("T11-T12", 40.0, {}),
    ("T12-L1", 40.0, {"body_mass_index": 45.0, "lumbar_lordosis_deg": 75.0}),
    ("T12-L1", 40.0, WORN),
    ("L2-L3", 40.0, HOLLOW_AND_HEAVY),
    ("L2-L3", 30.0, HOLLOW_AND_HEAVY),
    ("T10-T11", 30.0, {}),
)


def rated_and_performed(interspace, approach_deg, settings):
    """Return the joint difficulty of a case, and whether the performer reached its target."""
    scenario = library.load("ordinary-adult")
    scenario = scenario.with_settings(settings) if settings else scenario
    changes = {"interspace": interspace, "largest_approach_deg": approach_deg}
    scenario = scenario.model_copy(update={"task": scenario.task.model_copy(update=changes)})
    attempt = Attempt(scenario)
    longest = Needle(max(scenario.task.needle_lengths_mm))
    anatomy = attempt.state.anatomy
    rating = rate(anatomy, interspace, needle=longest, largest_approach=radians(approach_deg))
    return rating.difficulty, perform(attempt).reached


@pytest.mark.sweep
def test_success_falls_with_difficulty():
    """Seven cases, easy to closed: Spearman of difficulty and success well below zero."""
    rows = [rated_and_performed(*case) for case in CASES]
    difficulty, reached = zip(*rows)
    assert 2 <= sum(reached) < len(CASES), rows
    assert spearmanr(difficulty, reached).statistic < -0.5, rows
