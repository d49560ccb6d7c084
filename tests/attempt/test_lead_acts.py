"""What a case says about the lead reaches it, and what goes wrong with a lead is told."""

from dataclasses import replace

from scenarios.tuning_settings import TuningSettings
from trainer.attempt import events as e
from trainer.attempt.step import step


def test_the_tuning_of_the_case_is_that_of_the_lead_on_its_stylets(states):
    tuning = TuningSettings(memory_force=0.02, bend_angle_deg=20.0, bending_stiffness=120.0)
    scenario = states["needle"].scenario.model_copy(update={"tuning": tuning})
    wanted = tuning.inside()
    lead = step(replace(states["needle"], scenario=scenario), e.PassLead())
    plain = step(states["needle"], e.PassLead()).lead.properties
    assert {name: getattr(lead.lead.properties, name) for name in wanted} == wanted
    assert all(getattr(plain, name) != value for name, value in wanted.items())
    straight = step(step(lead, e.AdvanceLead(10.0)), e.ChangeStylet("straight"))
    assert straight.lead.properties.bend_angle == 0.0
    assert straight.lead.properties.bending_stiffness == 120.0
    curved = step(straight, e.ChangeStylet("curved")).lead.properties
    assert {name: getattr(curved, name) for name in wanted} == wanted
