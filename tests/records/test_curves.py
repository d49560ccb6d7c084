"""Learning curves against closed forms and worked values."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.records.curves import CusumLimits, cusum, learning_cusum, power_law, skill_successes

# Wald's formulas worked out by hand for three choices of rates and errors.
WORKED = [
    (CusumLimits(0.10, 0.20, 0.10, 0.10), 0.1452, 2.7095, 2.7095),
    (CusumLimits(0.05, 0.15, 0.10, 0.10), 0.0919, 1.8161, 1.8161),
    (CusumLimits(0.10, 0.20, 0.05, 0.20), 0.1452, 1.9214, 3.4190),
]


@pytest.mark.parametrize(("limits", "step", "lower", "upper"), WORKED)
def test_steps_and_lines_as_worked(limits, step, lower, upper):
    assert limits.step == pytest.approx(step, abs=5e-5)
    assert limits.lower == pytest.approx(lower, abs=5e-5)
    assert limits.upper == pytest.approx(upper, abs=5e-5)


@pytest.mark.parametrize(("limits", "row"), [(WORKED[0][0], 19), (WORKED[1][0], 20), (WORKED[2][0], 14)])
def test_successes_in_a_row_that_pass(limits, row):
    assert cusum([True] * 40, limits).passed_at == row


def test_worked_sequences():
    """Nine successes, a failure, then successes pass at case 26, at -2.776; a mixed row alarms at case 7."""
    curve = cusum([True] * 9 + [False] + [True] * 30)
    assert curve.passed_at == 26
    assert curve.values[25] == pytest.approx(-2.776, abs=5e-4)
    alarmed = cusum([letter == "S" for letter in "FFSFSSF"])
    assert alarmed.alarmed_at == 7
    assert alarmed.values[6] == pytest.approx(2.983, abs=5e-4)
    assert cusum([False] * 5).alarmed_at == 4


def test_learning_sum_steps():
    curve = learning_cusum([True, True, False, True])
    assert curve.values[0] == pytest.approx(0.1178, abs=5e-5)
    assert curve.values[2] == 0.0
    assert learning_cusum([False]).values[0] == 0.0
    assert learning_cusum([True] * 30).passed_at == 22


def test_learning_sum_rarely_passes_who_has_not_learned():
    """Simulated: of trainees who fail a fifth of the time, 9 of 100 pass within 50 attempts."""
    rng = np.random.default_rng(5)
    passed = [learning_cusum(rng.random(50) >= 0.20).passed_at is not None for _ in range(3000)]
    assert np.mean(passed) == pytest.approx(0.09, abs=0.02)


@given(st.lists(st.booleans(), max_size=60))
def test_sums_add_up(successes):
    limits = CusumLimits()
    curve = cusum(successes, limits)
    failures = successes.count(False)
    assert len(curve.values) == len(successes)
    if successes:
        assert curve.values[-1] == pytest.approx(failures - limits.step * len(successes), abs=1e-9)


def test_power_law_of_practice_is_read_back():
    """An exponent of 0.3 takes 18.8 per cent off with each doubling."""
    number = np.arange(1, 30)
    first, exponent = power_law(40.0 * number**-0.3)
    assert (first, exponent) == (pytest.approx(40.0), pytest.approx(0.3))
    assert 1.0 - 2.0**-exponent == pytest.approx(0.188, abs=5e-4)


def test_a_part_counts_by_its_points_and_its_critical_errors():
    def row(earned, failed):
        items = [{"part": "needle", "points": 10.0, "earned": earned, "failed": failed}]
        return {"passed": False, "record": json.dumps({"items": items})}

    rows = [row(8.0, False), row(7.9, False), row(10.0, True)]
    assert skill_successes(rows, skill="needle") == [True, False, False]
    assert skill_successes(rows, skill="plan") == []
    assert skill_successes(rows) == [False, False, False]


@pytest.mark.parametrize("rates", [(0.2, 0.1), (0.0, 0.1), (0.1, 1.0)])
def test_rates_in_the_wrong_order_are_refused(rates):
    with pytest.raises(ValueError, match="acceptable < unacceptable"):
        CusumLimits(*rates)


@pytest.mark.parametrize("name", ["alpha", "beta"])
def test_errors_out_of_range_are_refused(name):
    with pytest.raises(ValueError, match=f"{name} must lie between 0 and 0.5"):
        CusumLimits(**{name: 0.6})
    assert math.isfinite(CusumLimits(**{name: 0.05}).lower)


def test_height_and_times_are_checked():
    with pytest.raises(ValueError, match="height must be positive"):
        learning_cusum([True], height=0.0)
    with pytest.raises(ValueError, match="three or more positive numbers"):
        power_law([1.0, 2.0])
