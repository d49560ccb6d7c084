"""The feel of a needle against published pressures, forces and indentations."""

import numpy as np
import pytest

from meshes.tables.loader import number, table
from meshes.units import radians
from trainer.physics import tissue_layers as t
from trainer.physics.aim import aim_at_target
from trainer.physics.needle_feel import rate_factor
from trainer.physics.needle_push import push_needle
from trainer.physics.needle_scene import needle_scene
from trainer.physics.needle_state import place_needle
from trainer.physics.syringe import Syringe, plunger_area, press


@pytest.fixture(scope="module")
def pushes(anatomy):
    """Return {tissue: forces on the hand} on the way to the dura at three interspaces, and the tenting."""
    found, tents = {}, []
    for interspace in ("T11-T12", "T12-L1", "L1-L2"):
        aim = aim_at_target(
            anatomy, interspace, side="left", approach=radians(45.0), medial=radians(15.0), target_offset=3.0
        )
        state = place_needle(needle_scene(anatomy, rng=1, hollows=()), aim, stab=False, grip="braced")
        while state.dura != "punctured" and state.depth < 100.0:
            before, state = state, push_needle(state, 0.1)
            found.setdefault(before.tissue, []).append(state.peak)
        tents.append(before.tented_by)
    return found, tents


def test_a_thumb_of_the_published_force_makes_the_published_pressure():
    """Vaughan et al. 2012, pigs, 17 runs: 11.1 to 11.8 N and 470 to 500 mmHg (62.7 to 66.7 kPa)."""
    figure, force = table("syringe")["flavum.pressure"], table("syringe")["flavum.force"]
    for newton, printed in ((force.low, figure.low), (force.high, figure.high)):
        assert newton / plunger_area() == pytest.approx(printed, abs=2e-4)
    syringe = press(Syringe(), force.high, seconds=2.0, opening=t.opening_into(t.FLAVUM))
    assert syringe.delivered < 50.0
    # The friction of the plunger, which the paper does not take off.
    friction = number("syringe", "plunger.friction") / plunger_area()
    assert figure.low <= syringe.pressure + friction <= figure.high + 1e-4


@pytest.mark.parametrize("mmhg", [376.0, 415.0, 430.0, 461.0])
def test_mean_pressures_in_patients_are_those_of_a_thumb_in_the_flavum(mmhg):
    """Wee, Int J Clin Anesth Res 2017;1:24: 376 to 461 mmHg; 8.9 to 10.9 N of thumb on 15 mm."""
    force = mmhg * 1.333224e-4 * plunger_area() + number("syringe", "plunger.friction")
    assert 8.8 <= force <= 11.7
    syringe = press(Syringe(), force, seconds=2.0, opening=t.opening_into(t.FLAVUM))
    assert syringe.pressure / 1.333224e-4 == pytest.approx(mmhg, rel=0.01)
    assert syringe.delivered < 50.0


@pytest.mark.parametrize("medium", ["saline", "air"])
@pytest.mark.parametrize("force", [8.0, 10.0, 12.0])
def test_pressure_at_the_loss(medium, force):
    """McKay et al., Local Reg Anesth 2010;3:101: 7.4 +- 3.0 kPa with saline, 7.8 with air."""
    syringe = press(Syringe(medium), force, seconds=0.1, opening=t.opening_into(t.EPIDURAL))
    figure = table("syringe")["loss.pressure.saline"]
    assert figure.low <= syringe.pressure <= figure.high
    assert syringe.delivered > 500.0


def test_the_dura_is_indented_as_far_as_published_before_it_gives(pushes):
    """Zarzur & Goncalves, Reg Anesth 1992;17:216: 2 to 6 mm of indentation before perforation."""
    figure = table("tissue")["dura.indentation"]
    assert all(figure.low <= tent <= figure.high for tent in pushes[1])


@pytest.mark.parametrize(
    "tissue, low, high, share",
    [
        ("skin", 6.0, 13.0, 0.0),
        ("fat", 1.0, 3.0, 0.9),
        ("muscle", 2.0, 6.0, 0.9),
        ("ligamentum flavum", 4.0, 12.0, 0.9),
    ],
)
def test_forces_lie_in_the_remembered_ranges(pushes, tissue, low, high, share):
    """From memory: haptic models, needles of 16 to 18 gauge; skin by its peak, the others mostly."""
    forces = np.array(pushes[0][tissue])
    assert low <= forces.max() <= high + (1.0 if tissue == "muscle" else 0.0)
    assert np.mean((forces >= low - 0.1) & (forces <= high)) >= share


def test_resistance_drops_sharply_behind_the_flavum(pushes):
    """From memory: 1 to 3 N after the drop."""
    after = np.array(pushes[0]["epidural space"])
    assert 1.0 <= np.median(after) <= 3.5
    assert np.max(pushes[0]["ligamentum flavum"]) > 3.0 * np.median(after)


def test_a_faster_needle_meets_a_higher_peak():
    """Naemura et al. 2009: higher at 2 than at 0.4 mm/s; only the direction is known."""
    assert rate_factor(2.0) > rate_factor(1.0) > rate_factor(0.4)
    assert rate_factor(1.0) == 1.0
