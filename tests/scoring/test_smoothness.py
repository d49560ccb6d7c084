"""Spectral arc length and jerk against closed forms and printed values."""

import math

import numpy as np
import pytest

from trainer.scoring.smoothness import log_dimensionless_jerk, spectral_arc_length


def minimum_jerk(rate=100.0, duration=1.0):
    """Return the speed of the minimum-jerk movement over unit distance."""
    t = np.arange(0.0, duration + 0.5 / rate, 1.0 / rate) / duration
    return 30.0 * t**2 - 60.0 * t**3 + 30.0 * t**4


def test_the_minimum_jerk_movement_has_the_printed_arc_length():
    """-1.4058 at 100 Hz over one second: computed twice in the notes of the programme."""
    assert spectral_arc_length(minimum_jerk(), rate=100.0) == pytest.approx(-1.4058, abs=0.002)


@pytest.mark.parametrize(("count", "printed"), [(2, -2.71), (3, -3.32), (5, -4.09), (10, -5.06)])
def test_more_pieces_are_less_smooth(count, printed):
    rest = np.zeros(20)
    pieces = [part for _ in range(count) for part in (minimum_jerk(), rest)][:-1]
    assert spectral_arc_length(np.concatenate(pieces), rate=100.0) == pytest.approx(printed, abs=0.12)


def test_the_jerk_of_the_minimum_jerk_movement_is_the_closed_form():
    """-ln(720 / 1.875^2): integral of squared jerk over peak speed squared, at unit duration."""
    found = log_dimensionless_jerk(minimum_jerk(rate=4000.0), rate=4000.0)
    assert found == pytest.approx(-math.log(720.0 / 1.875**2), abs=2e-2)


@pytest.mark.parametrize("take", [spectral_arc_length, log_dimensionless_jerk])
def test_size_does_not_matter(take):
    speed = minimum_jerk()
    assert take(7.5 * speed, rate=100.0) == pytest.approx(take(speed, rate=100.0), abs=1e-9)


def test_duration_does_not_change_the_jerk():
    long = minimum_jerk(rate=500.0, duration=4.0)
    short = minimum_jerk(rate=2000.0, duration=1.0)
    assert log_dimensionless_jerk(long, rate=500.0) == pytest.approx(
        log_dimensionless_jerk(short, rate=2000.0), abs=1e-6
    )


def test_what_stands_still_has_no_smoothness():
    assert math.isnan(spectral_arc_length(np.zeros(10), rate=20.0))
    assert math.isnan(log_dimensionless_jerk(np.zeros(10), rate=20.0))
