"""The balance of hand, tissue and bone against closed forms."""

import numpy as np
import pytest

from meshes.tables.loader import number
from trainer.physics import tissue_layers as t
from trainer.physics.needle_drive import CUT, CUT_STEP, TIP, drive
from trainer.physics.needle_feel import plunge_at_give

NOWHERE = 1e9
GRAIN = np.full(512, 0.5)


def run(starts, codes, goal, *, stiffness=6.0, bone_at=NOWHERE, feel=None, memory=None, step=0.1):
    feel = t.feel_figures().copy() if feel is None else feel
    settings = np.array(
        [
            stiffness,
            bone_at,
            number("tissue", "bone.stiffness"),
            number("tissue", "slip"),
            60.0,
            1.0,
            1.0,
            0.8,
            1.2,
        ]
    )
    memory = np.zeros(4) if memory is None else memory
    reports, place = [], memory[0]
    while abs(place - goal) > 1e-9:
        place = min(place + step, goal) if goal > place else max(place - step, goal)
        reports.append(
            drive(np.asarray(starts, float), np.asarray(codes), feel, GRAIN, settings, memory, place, NOWHERE)
        )
    return np.vstack(reports), memory


def sheet(peak, *, stiffness=2.0):
    """Return figures in which a sheet of `peak` N stands before tissue that gives no force at all."""
    feel = np.zeros((15, 7))
    feel[:, t.GRIT_PITCH] = 1.0
    feel[t.FASCIA] = [stiffness, 0.0, peak, 0.0, 1.0, 0.0, peak]
    feel[t.EPIDURAL] = [stiffness, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0]
    return feel


@pytest.mark.parametrize("stiffness", [2.0, 6.0, 20.0])
def test_the_plunge_is_the_force_over_the_stiffness_of_the_hand(stiffness):
    """Closed form: with nothing behind it the spring gives back F / k. Exact to a step of cut and of hand."""
    report, _ = run([0.0, 1.0], [t.FASCIA, t.EPIDURAL], 30.0, stiffness=stiffness, feel=sheet(8.0))
    jumps = np.diff(report[:, 0])
    wanted = plunge_at_give(8.0, 0.0, stiffness=stiffness)
    # The force has passed 8 N by no more than one step of the hand.
    assert jumps.max() - 0.05 == pytest.approx(wanted, abs=0.05 + 2.0 * CUT_STEP)


def test_a_softer_hand_plunges_farther_through_the_flavum():
    """Our notes: 4.5, 1.4 and 0.5 mm at 2, 6 and 20 N/mm, from the drop of force through flavum of 5 mm."""
    plunges = []
    for stiffness in (2.0, 6.0, 20.0):
        path = [0.0, 45.0, 50.0], [t.MUSCLE, t.FLAVUM, t.EPIDURAL]
        report, _ = run(*path, 60.0, stiffness=stiffness)
        steps = np.diff(report[:, 0])
        give = int(steps.argmax())
        before, after = report[give, 2], report[give + 1, 2]
        assert steps[give] == pytest.approx(plunge_at_give(before, after, stiffness=stiffness), abs=0.06)
        plunges.append(steps[give])
    assert plunges[0] > 2.5 * plunges[1] > 5.0 * plunges[2]
    assert plunges == pytest.approx([4.5, 1.4, 0.5], rel=0.2)


def test_the_dura_is_tented_by_the_root_of_its_curve_before_it_gives():
    """Closed form: 0.05 q + 0.17 q² = 3 has the root 4.05 mm."""
    report, _ = run([0.0, 10.0, 10.3], [t.EPIDURAL, t.DURA, t.FLUID], 18.0, stiffness=200.0)
    at_the_sheet = report[(report[:, 1] >= 10.0) & (report[:, 1] < 10.05)]
    tented = (at_the_sheet[:, 0] - at_the_sheet[:, 1]).max()
    assert tented == pytest.approx((-0.05 + np.sqrt(0.05**2 + 4 * 0.17 * 3.0)) / (2 * 0.17), abs=0.06)
    assert tented == pytest.approx(4.05, abs=0.06)


def test_bone_stops_the_tip_and_is_felt_in_series_with_the_hand():
    """Closed form: 6 and 60 N/mm in series are 5.45 N/mm."""
    report, memory = run([0.0], [t.EPIDURAL], 24.0, bone_at=20.0)
    assert report[:, 0].max() == 20.0 and memory[TIP] == 20.0
    pressed = report[report[:, 4] > 1.0]
    slope = np.diff(pressed[:, 4]) / np.diff(pressed[:, 5])
    assert slope == pytest.approx(6.0 * 60.0 / 66.0, rel=1e-6)


def test_friction_turns_round_when_the_needle_is_pulled():
    """Closed form: +-f L once the shaft has crept, with the tip clear of uncut tissue."""
    feel = sheet(0.0)
    feel[t.MUSCLE] = [0.0, 0.0, 0.0, 0.0, 1.0, 0.05, 0.0]
    forward, memory = run([0.0], [t.MUSCLE], 40.0, feel=feel)
    assert forward[-1, 2] == pytest.approx(0.05 * memory[TIP], abs=0.01)
    back, memory = run([0.0], [t.MUSCLE], 30.0, feel=feel, memory=memory)
    assert back[-1, 2] == pytest.approx(-0.05 * memory[TIP], abs=0.01)


def test_an_old_track_costs_no_cutting_force():
    _, memory = run([0.0], [t.MUSCLE], 30.0)
    cut = memory[CUT]
    run([0.0], [t.MUSCLE], 15.0, memory=memory)
    again, _ = run([0.0], [t.MUSCLE], 25.0, memory=memory)
    assert memory[CUT] == cut and again[:, 3].max() == 0.0


def test_the_drive_repeats_to_the_bit():
    path = [0.0, 20.0, 24.0, 30.0], [t.MUSCLE, t.FLAVUM, t.EPIDURAL, t.DURA]
    one, two = run(*path, 33.0)[0], run(*path, 33.0)[0]
    assert np.array_equal(one, two)
