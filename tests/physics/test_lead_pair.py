"""Two leads that push each other aside, and what is told of how they lie."""

from types import SimpleNamespace

import numpy as np
import pytest

from meshes.units import radians
from trainer.physics import lead as single
from trainer.physics import lead_pair as both
from trainer.physics.lead_crossing import crossings, read_pair
from trainer.physics.lead_properties import LeadProperties
from trainer.physics.mouth import mouth_from_placement


def mouth_at(anatomy, offset, medial_deg):
    return mouth_from_placement(
        anatomy.canal,
        interspace="T12-L1",
        offset=offset,
        approach=radians(32.0),
        medial=radians(medial_deg),
    )


@pytest.fixture(scope="module")
def first(anatomy):
    return single.advance(single.insert_lead(anatomy.canal, mouth_at(anatomy, 2.0, 5.0)), 70.0)


@pytest.fixture(scope="module")
def beside(anatomy, first):
    """Return a pair whose second lead is pushed along the first."""
    pair = both.insert_second(first, mouth_at(anatomy, -2.5, 20.0))
    return both.advance(pair, 1, 60.0)


def test_both_leads_give_way_and_neither_enters_the_other(first, beside):
    moved = np.linalg.norm(beside.leads[0].nodes - first.nodes, axis=1).max()
    assert moved > 0.1
    assert beside.converged
    assert -0.05 < beside.least_gap < 0.1


def test_either_lead_can_be_moved(beside):
    fed = [lead.fed for lead in beside.leads]
    pair = both.advance(beside, 0, 5.0)
    assert [lead.fed for lead in pair.leads] == pytest.approx([fed[0] + 5.0, fed[1]])
    turned = both.rotate(pair, 0, 0.5)
    assert turned.leads[0].hub == pytest.approx(0.5) and turned.leads[1].hub == 0.0


def test_a_lead_that_was_pressed_aside_springs_back(first, beside):
    alone = both.advance(beside, 1, -50.0)
    left = np.linalg.norm(alone.leads[0].nodes - first.nodes, axis=1).max()
    assert left < np.linalg.norm(beside.leads[0].nodes - first.nodes, axis=1).max()


def test_leads_out_of_reach_are_those_that_are_alone(anatomy):
    """In the same canal, far apart, each is what it is alone, to the bit."""
    left = single.advance(single.insert_lead(anatomy.canal, mouth_at(anatomy, 4.0, 0.0)), 12.0)
    right = single.insert_lead(anatomy.canal, mouth_at(anatomy, -4.0, 0.0))
    pair = both.advance(both.insert_second(left, right.mouth), 1, 12.0)
    assert np.array_equal(pair.leads[0].nodes, left.nodes)
    assert np.array_equal(pair.leads[1].nodes, single.advance(right, 12.0).nodes)


def test_which_must_name_a_lead(beside):
    with pytest.raises(ValueError, match="which must be 0 or 1, got 2"):
        both.advance(beside, 2, 1.0)
    assert both.advance(beside, 1, 1.0).leads[1].fed == pytest.approx(beside.leads[1].fed + 1.0)


def test_a_pair_at_rest_stays_as_it_is(beside):
    assert both.settle_pair(beside) is beside


def drawn(canal, offsets, *, low, high, height=9.0):
    """Return what stands for a lead whose offset to the left runs through `offsets` from `low` to `high`."""
    u = np.arange(low, high + 0.1, 1.0)
    x = np.interp(u, np.linspace(low, high, len(offsets)), offsets)
    nodes = canal.to_world(u, np.arctan2(x, height), np.hypot(x, height))
    return SimpleNamespace(nodes=nodes, properties=LeadProperties(), fed=float(high - low))


def test_crossing_over_and_back_between_contacts_is_seen(anatomy):
    """Tips and mouths look right: the second is to the right at both ends, and over there in between."""
    canal = anatomy.canal
    low, high = canal.station("T12"), canal.station("T8")
    one = drawn(canal, [2.0, 2.0], low=low, high=high)
    two = drawn(canal, [-2.0, -2.0, 4.0, -2.0, -2.0], low=low, high=high - 6.0)
    over, back = crossings((one, two), canal)
    assert (over.towards, back.towards) == ("left", "right")
    assert over.station < back.station
    assert all("contact" in words for words in (*over.contacts, *back.contacts))
    assert "the leads cross at" in str(over)
    reading = read_pair((one, two), anatomy)
    assert reading.staggering == pytest.approx(2.0, abs=0.1)
    assert reading.separation[2] == pytest.approx(4.0, abs=0.3)
    assert reading.least_gap < 0.0


def test_leads_that_only_come_near_do_not_cross(anatomy):
    canal = anatomy.canal
    low, high = canal.station("T12"), canal.station("T8")
    one = drawn(canal, [2.0, 2.0], low=low, high=high)
    assert crossings((one, drawn(canal, [-2.0, 1.5, -2.0], low=low, high=high)), canal) == ()
    # In line with each other no side is told; on the same side again it was no crossing.
    assert crossings((one, drawn(canal, [-2.0, 2.1, -2.0], low=low, high=high)), canal) == ()


def test_at_a_contact_is_told_apart_from_between_them(anatomy):
    canal = anatomy.canal
    low, high = canal.station("T12"), canal.station("T8")
    words = set()
    for shift in np.arange(0.0, 7.0, 1.0):
        one = drawn(canal, [1.0, 1.0], low=low, high=high)
        two = drawn(canal, [-3.0, 3.0], low=low, high=high - 20.0 + shift)
        (crossing,) = crossings((one, two), canal)
        words.add(crossing.contacts[1].split()[0])
    assert words == {"at", "between"}
