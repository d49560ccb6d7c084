"""What an expert may set, and how far."""

from dataclasses import fields

import pytest

from meshes.units import radians
from trainer.physics.lead_properties import LeadProperties
from trainer.physics.lead_tuning import ROWS, LeadTuning, tuning_range


def test_every_setting_has_a_range_round_its_tabulated_figure():
    assert set(ROWS) == {entry.name for entry in fields(LeadTuning)}
    for name in ROWS:
        low, high = tuning_range(name)
        assert low <= getattr(LeadProperties(), name) <= high and low < high


def test_settings_are_applied_and_the_rest_stays():
    tuned = LeadTuning(memory_force=0.05, bend_angle=radians(25.0)).applied(LeadProperties(contacts=4))
    assert (tuned.memory_force, tuned.bend_angle, tuned.contacts) == (0.05, radians(25.0), 4)
    assert tuned.wall_friction == LeadProperties().wall_friction
    assert LeadTuning().applied() == LeadProperties()


@pytest.mark.parametrize("name", ROWS)
def test_what_lies_outside_its_range_is_refused_and_its_end_is_not(name):
    _, high = tuning_range(name)
    with pytest.raises(ValueError, match=f"{name} must lie between"):
        LeadTuning(**{name: high * 1.01})
    assert LeadTuning(**{name: high}).settings == {name: high}


def test_angles_are_refused_in_their_own_unit():
    with pytest.raises(ValueError, match="bend_angle must lie between 10 and 30 deg, got 45"):
        LeadTuning(bend_angle=radians(45.0))
    with pytest.raises(ValueError, match="memory_force must lie between 0.01 and 0.06 N/mm, got nan"):
        LeadTuning(memory_force=float("nan"))
