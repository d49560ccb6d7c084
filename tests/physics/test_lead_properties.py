"""What a lead is made of, and what it refuses."""

import pytest

from trainer.physics.lead_properties import LeadProperties


def test_the_usual_lead_has_eight_contacts_over_52_mm():
    """8 contacts of 3 mm with 4 mm between them span 52 mm (arithmetic on common practice)."""
    usual = LeadProperties()
    assert usual.contacts == 8
    assert usual.array_length == pytest.approx(52.0)
    assert usual.radius == pytest.approx(0.65)


@pytest.mark.parametrize("name", ["radius", "contacts", "bending_stiffness", "slip_range", "turned_length"])
def test_what_must_be_positive(name):
    with pytest.raises(ValueError, match=f"{name} must be positive, got 0"):
        LeadProperties(**{name: 0})
    assert getattr(LeadProperties(**{name: 1}), name) == 1


@pytest.mark.parametrize("name", ["wall_friction", "memory_force", "bend_angle", "dura_stiffness"])
def test_what_may_be_zero_but_not_negative(name):
    with pytest.raises(ValueError, match=f"{name} must not be negative, got -0.1"):
        LeadProperties(**{name: -0.1})
    assert getattr(LeadProperties(**{name: 0.0}), name) == 0.0


def test_contacts_must_fit():
    with pytest.raises(ValueError, match="contacts must fit on the lead, got 53.5 mm of contacts on 50 mm"):
        LeadProperties(length=50.0)
    assert LeadProperties(length=54.0).length == 54.0


def test_changes_make_a_new_lead():
    usual = LeadProperties()
    assert usual.with_changes(bend_angle=0.1).bend_angle == 0.1
    assert usual.bend_angle != 0.1
