"""The syringe against closed forms."""

import math

import pytest

from meshes.tables.loader import number
from trainer.physics import tissue_layers as t
from trainer.physics.epidural_saline import space_opened
from trainer.physics.syringe import Syringe, plunger_area, press, pressure_of_force, refilled, stepped

CLOSED = t.Opening("bone", 1.0, 1.0, 1.0)


def test_a_still_plunger_stands_at_force_less_friction_over_area():
    """Closed form: p = (F - F0) / A."""
    syringe = press(Syringe(), 11.8, seconds=2.0, opening=CLOSED)
    assert syringe.pressure == pytest.approx((11.8 - 0.6) / (math.pi * 7.5**2), rel=1e-6)
    assert syringe.pressure == pytest.approx(pressure_of_force(11.8), rel=1e-6)
    assert syringe.delivered == 0.0


@pytest.mark.parametrize("force", [3.0, 8.0, 12.0])
def test_air_follows_boyle(force):
    """Boyle: p V is constant; the plunger goes in by the volume that is lost."""
    syringe = press(Syringe("air"), force, seconds=4.0, opening=CLOSED)
    atmosphere = number("syringe", "atmosphere")
    volume = 5000.0 * atmosphere / (atmosphere + pressure_of_force(force))
    assert syringe.pressure == pytest.approx(pressure_of_force(force), rel=1e-3)
    assert syringe.gas_volume == pytest.approx(volume, rel=1e-3)
    assert syringe.travel == pytest.approx((5000.0 - volume) / plunger_area(), rel=0.02)


def test_air_bounces_back_and_saline_does_not():
    for medium, least, most in (("air", 5.0, 20.0), ("saline", 0.0, 0.2)):
        syringe = press(Syringe(medium), 8.0, seconds=1.0, opening=CLOSED)
        assert least <= syringe.travel <= most
        free = press(syringe, 0.0, seconds=2.0, opening=CLOSED)
        if medium == "air":
            # The friction of the plunger holds a little of it.
            assert free.travel < 0.25 * syringe.travel
        assert free.delivered == 0.0


def test_steady_flow_balances_thumb_and_tissue():
    """Closed form: p = (m A (F - F0) + hold / R) / (m A² + 1 / R)."""
    opening = t.Opening("epidural space", 0.002, 4.2e-7, 1e12)
    syringe = press(Syringe(volume=20000.0), 8.0, seconds=0.4, opening=opening)
    mobility, area = number("syringe", "plunger.mobility"), plunger_area()
    conductance = 1.0 / opening.resistance
    above = mobility * area * (8.0 - 0.6) + opening.hold * conductance
    assert syringe.pressure == pytest.approx(above / (mobility * area**2 + conductance), rel=1e-3)


@pytest.mark.parametrize("medium", ["saline", "air"])
def test_long_and_short_steps_agree(medium):
    opening = t.opening_into(t.POCKET)
    fine = stepped(Syringe(medium), 8.0, seconds=0.6, opening=opening, step=0.001)
    coarse = stepped(Syringe(medium), 8.0, seconds=0.6, opening=opening, step=0.01)
    assert coarse.delivered == pytest.approx(fine.delivered, rel=0.01)
    assert coarse.pressure == pytest.approx(fine.pressure, rel=0.02)


def test_an_empty_syringe_gives_no_more():
    opening = t.opening_into(t.EPIDURAL)
    syringe = press(Syringe(volume=1000.0), 8.0, seconds=3.0, opening=opening)
    assert syringe.delivered == pytest.approx(1000.0) and syringe.volume == pytest.approx(0.0, abs=1e-6)
    full = refilled(syringe)
    assert full.volume == 5000.0 and full.delivered == pytest.approx(1000.0)


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: Syringe("water"), "medium must be saline or air, got 'water'"),
        (lambda: Syringe(volume=5e4), "volume must lie between 0 and 20000"),
        (lambda: press(Syringe(), 100.0, seconds=1.0, opening=CLOSED), "force must lie between 0 and 60 N"),
        (lambda: press(Syringe(), 8.0, seconds=0.0, opening=CLOSED), "seconds must lie between 0 and 60"),
        (lambda: space_opened(-1.0), "volume and seconds must not be negative"),
    ],
)
def test_bad_values_are_refused(act, words):
    with pytest.raises(ValueError, match=words):
        act()


def test_saline_opens_the_space_a_little_and_fades():
    nothing, some, more = space_opened(0.0), space_opened(2000.0), space_opened(5000.0)
    assert nothing.lowering == 0.0 and nothing.impedance_factor == nothing.hold_factor == 1.0
    assert 0.0 < some.lowering < more.lowering <= number("lead", "saline.most_lowering")
    assert more.hold_factor < some.hold_factor < 1.0
    assert more.impedance_factor < some.impedance_factor < 1.0
    assert space_opened(5000.0, seconds=3600.0).lowering < 0.1 * more.lowering
    assert space_opened(5000.0, medium="air").impedance_factor > 1.0
    assert space_opened(5000.0, medium="air").lowering == 0.0


def test_the_lead_is_told_the_same_saline():
    saline = space_opened(3000.0).saline_at(120.0)
    assert (saline.volume, saline.station) == (3.0, 120.0)
    lowering, hold = saline.at([120.0])
    opened = space_opened(3000.0)
    assert (opened.lowering, opened.hold_factor) == (lowering[0], hold[0])


def test_a_pure_film_of_saline_has_the_ratio_of_the_conductivities():
    """Closed form: all of the wetted share of the way falls to s0 / s."""
    ratio = number("syringe", "conductivity.surroundings") / number("syringe", "conductivity.saline")
    most = 1.0 - number("syringe", "saline.wetting") * (1.0 - ratio)
    assert space_opened(1e6).impedance_factor == pytest.approx(most)
