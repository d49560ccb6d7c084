"""Saline, the needle drawn over the lead, and the bevel's edge."""

from dataclasses import replace

import numpy as np
import pytest

from meshes.units import radians
from trainer.physics.lead import advance, insert_lead
from trainer.physics.lead_release import bevel_can_cut, inject_saline, pull_needle, pull_stylet
from trainer.physics.mouth import mouth_from_placement
from trainer.physics.saline import DRY, Saline, more


def lead_in(anatomy, *, approach_deg=32.0, length=60.0):
    mouth = mouth_from_placement(
        anatomy.canal, interspace="T12-L1", offset=2.0, approach=radians(approach_deg), medial=radians(8.0)
    )
    return advance(insert_lead(anatomy.canal, mouth), length)


@pytest.fixture(scope="module")
def lead(anatomy):
    return lead_in(anatomy)


def test_saline_lets_the_dura_give_way_near_the_mouth_and_no_further(lead):
    wet = inject_saline(lead, 4.0)
    eased = lead.depth[2:, 1] - wet.depth[2:, 1]
    assert wet.converged
    assert wet.largest_dent < lead.largest_dent - 0.5
    assert wet.push < lead.push
    assert eased[:4].min() > 0.5 and abs(eased[-1]) < 0.3


def test_saline_adds_up_to_a_limit():
    twice = more(more(DRY, 2.0, station=100.0), 3.0, station=100.0)
    assert twice == Saline(5.0, 100.0)
    room, hold = Saline(50.0, 100.0).at([100.0, 400.0])
    assert room == pytest.approx([3.0, 0.0]) and hold == pytest.approx([0.5, 1.0])
    assert DRY.at([1.0])[0] == 0.0


def test_negative_volumes_are_refused(lead):
    with pytest.raises(ValueError, match="volume must not be negative, got -1"):
        inject_saline(lead, -1.0)
    with pytest.raises(ValueError, match="volume must not be negative, got nan"):
        Saline(float("nan"))
    assert inject_saline(lead, 0.0).setup.saline.volume == 0.0


def test_a_held_lead_follows_its_needle_a_little_and_a_free_one_further(lead):
    soft = pull_stylet(lead)
    held, free = pull_needle(soft), pull_needle(soft, held=False)
    assert held.fed == pytest.approx(lead.fed - 2.0)
    assert free.fed < held.fed - 3.0
    assert held.torque == pytest.approx(0.0, abs=0.01)
    assert np.linalg.norm(held.nodes[-1] - soft.nodes[-1]) < 4.0


def test_a_pull_against_a_steep_bevel_can_cut_and_against_a_flat_one_not(anatomy, lead):
    """The direction is common practice: draw lead and needle together; the limit is assumed."""
    steep = lead_in(anatomy, approach_deg=65.0)
    assert steep.side_force > 2.0 * lead.side_force
    assert bevel_can_cut(steep, advance(steep, -2.0))
    assert not bevel_can_cut(lead, advance(lead, -2.0))
    # Pushed, or out of the way of the edge without its stylet, it is safe.
    assert not bevel_can_cut(steep, advance(steep, 2.0))
    soft = pull_stylet(steep)
    assert not bevel_can_cut(soft, advance(soft, -2.0))


def test_the_side_force_is_square_to_the_needle(lead):
    """Equilibrium: reaction of the held nodes = push along the needle and the side force across it."""
    assert lead.side_force > 0.0
    assert replace(lead, side_force=0.0).push == lead.push
