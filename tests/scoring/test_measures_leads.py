"""Measures of two leads beside each other, of leads in the sac, and of leads drawn over the needle's edge."""

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np
import pytest

from trainer.attempt import events as e
from trainer.physics.lead_properties import LeadProperties
from trainer.scoring.log import Act, Log
from trainer.scoring.measures import MEASURES


def take(name, log):
    return MEASURES[name].take(log)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A lead drawn by hand along the canal, with these offsets to the left from below upwards."""

    nodes: np.ndarray
    fed: float
    properties: LeadProperties = field(default_factory=LeadProperties)


def drawn(canal, offsets, low, high):
    u = np.linspace(low, high, 120)
    x = np.interp(u, np.linspace(low, high, len(offsets)), offsets)
    return Drawn(canal.to_world(u, np.arctan2(x, 6.0), np.hypot(x, 6.0)), high - low)


@pytest.fixture(scope="module")
def states(finished):
    """Return states of the finished attempt: at its start, before and after its lead was passed."""
    done = finished.attempt.done
    passing = [type(one.event) for one in done].index(e.PassLead)
    return {
        "plan": finished.attempt.first,
        "needle": done[passing - 1].state,
        "lead": done[passing + 11].state,
    }


def two_leads(anatomy, first, second, *, lower=0.0):
    low, high = (anatomy.canal.station(level) for level in ("T12", "T8"))
    leads = (drawn(anatomy.canal, first, low, high), drawn(anatomy.canal, second, low, high - lower))
    placements = tuple(SimpleNamespace(lead=lead) for lead in leads)
    return SimpleNamespace(task=SimpleNamespace(leads=2), anatomy=anatomy, with_lead=placements)


def test_a_crossing_over_and_back_between_good_ends_counts_twice(anatomy):
    log = two_leads(anatomy, [2.0, 2.0], [-2.0, -2.0, 4.0, -2.0, -2.0], lower=6.0)
    assert take("crossings", log) == 2.0
    assert take("stagger", log) == pytest.approx(6.0, abs=0.3)


def test_leads_side_by_side_do_not_cross_and_keep_their_distance(anatomy):
    log = two_leads(anatomy, [2.0, 2.0], [-1.5, -1.5])
    assert take("crossings", log) == 0.0
    assert take("separation", log) == pytest.approx(3.5, abs=0.1)


def test_a_pull_over_the_edge_counts_only_with_a_hard_lean_and_backwards(states):
    state = states["lead"]

    def pulled(side_force, millimetres, event=None):
        lead = replace(state.lead, side_force=side_force)
        before = state.with_placement(lead=lead)
        left = None if event else replace(lead, fed=lead.fed + millimetres)
        act = Act(event or e.AdvanceLead(millimetres), before, before.with_placement(lead=left), None)
        passed = Act(e.PassLead(), states["needle"], before, None)
        return take("bevel_pulls", Log(state, (passed, act)))

    assert pulled(1.5, -5.0) == 1.0 == pulled(1.5, 0.0, e.RemoveLead())
    assert pulled(0.3, -5.0) == pulled(1.5, 5.0) == pulled(0.3, 0.0, e.RemoveLead()) == 0.0
    assert take("bevel_pulls", Log(states["plan"], ())) is None


def test_a_lead_in_the_sac_does_not_count_as_in_place(states):
    state = states["lead"]
    in_sac = replace(state.lead, setup=replace(state.lead.setup, intrathecal=True))
    assert take("leads_in_place", Log(state, ())) == 100.0
    assert take("leads_in_place", Log(state.with_placement(lead=in_sac), ())) == 0.0
