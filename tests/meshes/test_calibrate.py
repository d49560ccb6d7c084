"""The feedback finds a correction that was spoilt, and leaves a window within its bounds."""

import numpy as np
import pytest

from meshes.calibrate import FARTHEST, SIZES, WantedWindow, built_column, next_corrections
from meshes.dimensions import tabulated_corrections
from meshes.levels import INTERSPACES, LEVELS
from meshes.measure_bones import measure_bones
from meshes.measure_windows import measure_windows
from meshes.tables.loader import number

PITCH = 1.2


@pytest.fixture(scope="module")
def spoilt():
    """Return corrections of which two are wrong, the next ones, and what is wanted."""
    column = built_column(tabulated_corrections(), pitch=PITCH)
    wanted = {
        name: WantedWindow(w.gap[3.0], w.gap[6.0], w.gap[8.0], w.clearance[6.0], w.step)
        for name, w in measure_windows(column).items()
    }
    before = tabulated_corrections()
    before["L2"]["canal_width"] += 2.0
    before["L1"]["gap_at_six"] -= 2.0
    return before, next_corrections(before, wanted, pitch=PITCH), wanted


def test_a_step_brings_a_spoilt_size_back(spoilt):
    before, after, _ = spoilt
    asked = number("vertebrae", "L2.canal_width")
    off = [
        abs(measure_bones(built_column(c, pitch=PITCH))["L2"].canal_width - asked) for c in (before, after)
    ]
    assert off[0] > 1.2
    assert off[1] < 0.6 * off[0]


def test_a_step_brings_a_spoilt_window_back(spoilt):
    before, after, wanted = spoilt
    gaps = [
        measure_windows(built_column(c, pitch=PITCH), ["L1-L2"])["L1-L2"].gap[6.0] for c in (before, after)
    ]
    off = np.abs(np.array(gaps) - wanted["L1-L2"].gap_at_six)
    assert off[0] > 1.0
    assert off[1] < 0.6 * off[0]


def test_corrections_of_windows_stay_within_their_bounds_and_every_size_has_one(spoilt):
    _, after, wanted = spoilt
    assert set(wanted) == set(INTERSPACES)
    assert set(after) == set(LEVELS)
    for corrections in (*after.values(), *tabulated_corrections().values()):
        assert set(SIZES) <= set(corrections)
        assert all(abs(corrections[name]) <= most for name, most in FARTHEST.items() if name in corrections)
