"""Leads and stylets as rows of data, and changing the stylet in a lead that lies in the canal."""

import numpy as np
import pytest

from meshes.units import degrees, radians
from trainer.physics.lead import Mouth, advance, insert_lead, rotate
from trainer.physics.lead_kinds import (
    LEADS,
    STYLETS,
    change_stylet,
    lead_kind,
    pull_stylet,
    with_stylet,
)
from trainer.physics.lead_properties import LeadProperties
from trainer.physics.mouth import mouth_from_placement


@pytest.fixture(scope="module")
def steered(anatomy):
    """Return a lead that has been led aside."""
    mouth = mouth_from_placement(
        anatomy.canal, interspace="T12-L1", offset=2.0, approach=radians(32.0), medial=radians(8.0)
    )
    lead = advance(insert_lead(anatomy.canal, mouth, lead_kind(8)), 40.0)
    return advance(rotate(lead, radians(90.0)), 20.0)


@pytest.mark.parametrize(("contacts", "length"), [(4, 30.0), (8, 52.0), (16, 63.0)])
def test_arrays_of_the_leads(contacts, length):
    """Contacts of 3 mm, with 6, 4 and 1 mm between them (common practice): plain arithmetic."""
    assert contacts in LEADS
    assert lead_kind(contacts).array_length == pytest.approx(length)


def test_the_usual_lead_is_the_default():
    usual, default = lead_kind(8, stylet="curved"), LeadProperties()
    for name in ("contacts", "array_length", "bend_angle", "bend_length", "bending_stiffness"):
        assert getattr(usual, name) == pytest.approx(getattr(default, name))
    assert usual.torsional_stiffness == pytest.approx(default.torsional_stiffness)


def test_body_and_wire_add_up_and_a_tuned_base_is_kept():
    tuned = lead_kind(4, stylet="straight", base=LeadProperties(memory_force=0.01))
    assert tuned.memory_force == 0.01 and tuned.bend_angle == 0.0
    soft = with_stylet(tuned, "out")
    assert soft.bending_stiffness == pytest.approx(15.0) and tuned.bending_stiffness == pytest.approx(100.0)


def test_what_does_not_lie_on_the_table_is_refused():
    with pytest.raises(ValueError, match="contacts must be one of 4, 8, 16, got 5"):
        lead_kind(5)
    with pytest.raises(ValueError, match="stylet must be one of curved, straight, strong, got 'bent'"):
        lead_kind(8, stylet="bent")
    assert set(STYLETS) == {"curved", "straight", "strong"}


@pytest.mark.parametrize("stylet", STYLETS)
def test_a_stylet_bends_the_tip_in_free_space(stylet):
    """Without a canal the tip turns by the stylet's own angle, but for half a joint at its end."""
    mouth = Mouth(np.zeros(3), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    lead = change_stylet(advance(insert_lead(None, mouth, lead_kind(8)), 40.0), stylet)
    edge = lead.nodes[-1] - lead.nodes[-2]
    wanted = degrees(lead_kind(8, stylet=stylet).bend_angle)
    assert degrees(np.arctan2(edge[1], edge[2])) == pytest.approx(wanted, rel=0.08, abs=0.01)


def test_another_stylet_moves_the_tip_and_not_the_shaft(steered):
    strong = change_stylet(steered, "strong")
    assert strong.converged
    assert np.linalg.norm(strong.nodes[-1] - steered.nodes[-1]) > 0.05
    assert np.linalg.norm(strong.nodes[:10] - steered.nodes[:10], axis=1).max() < 0.1


def test_without_its_stylet_a_lead_is_soft_and_unwound(steered):
    soft = pull_stylet(steered)
    assert soft.converged
    assert soft.push < 0.7 * steered.push and soft.side_force < 0.7 * steered.side_force
    assert abs(steered.torque) > 0.02 and soft.torque == pytest.approx(0.0, abs=0.01)
    # A lead that was laid stays about where it is (common practice).
    assert np.linalg.norm(soft.nodes - steered.nodes, axis=1).max() < 2.0


def test_the_wire_drags_and_lets_go(steered):
    """While it is drawn it pulls at the tip; afterwards nothing does."""
    assert pull_stylet(steered).tip_load == pytest.approx(0.0)
