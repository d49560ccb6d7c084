"""What a case says about the lead reaches it, and what goes wrong with a lead is told."""

from dataclasses import replace

import numpy as np

from scenarios.tuning_settings import TuningSettings
from trainer.attempt import events as e
from trainer.attempt.step import step
from trainer.physics.needle_consequences import LEAD_IN_SAC
from trainer.physics.rod_solver import SolverLimits


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


def test_a_lead_through_an_opening_in_the_sac_lies_there_and_is_told(states):
    state = states["needle"]
    while not state.placement.inside.in_sac:
        state = step(state, e.PushNeedle(0.3, "braced"))
        assert state.phase == "needle"
    passed = step(step(state, e.PassLead()), e.AdvanceLead(10.0))
    assert passed.lead.setup.intrathecal and passed.complications[-1].kind == LEAD_IN_SAC
    u, theta, radius = state.anatomy.canal.to_chart(passed.lead.nodes[1:])
    dura = [state.anatomy.canal.radii(*place)[2] for place in zip(u, theta)]
    assert np.all(radius < np.array(dura, float).ravel())
    assert step(passed, e.ChooseAfterComplication("take out")).complications[-1].choice == "take out"
    assert not step(states["needle"], e.PassLead()).lead.setup.intrathecal


def test_a_lead_that_was_cut_short_is_carried_on_with_the_next_event(states):
    lead = states["lead"].lead
    hasty = replace(lead, setup=replace(lead.setup, limits=SolverLimits(iterations=1)))
    moved = step(states["lead"].with_placement(lead=hasty), e.AdvanceLead(3.0))
    assert not moved.lead.converged
    patient = replace(moved.lead, setup=lead.setup)
    asked = step(moved.with_placement(lead=patient), e.AskPatient())
    assert asked.lead.converged and asked.lead.fed == moved.lead.fed
    assert step(states["lead"], e.AskPatient()).lead is lead
