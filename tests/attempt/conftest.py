"""States of the finished attempt, one a phase, and for each kind of event one that can be done somewhere."""

import pytest

from trainer.attempt import events as e
from trainer.attempt.step import step


@pytest.fixture(scope="session")
def states(finished):
    """Return one state of each phase; aimed before "picture" ends, the canal reached in "needle"."""
    done = finished.attempt.done
    kinds = [type(one.event) for one in done]
    before_lead = kinds.index(e.PassLead) - 1
    lead = done[before_lead + 12].state
    return {
        "plan": finished.attempt.first,
        "picture": done[kinds.index(e.PlaceNeedle) - 1].state,
        "needle": done[before_lead].state,
        "lead": lead,
        "test": step(lead, e.BeginTest()),
        "secure": step(lead, e.BeginSecuring()),
        "debrief": done[-1].state,
    }


@pytest.fixture(scope="session")
def aimed(finished):
    """Return the AimNeedle event of the finished attempt."""
    return next(event for event in finished.attempt.events if isinstance(event, e.AimNeedle))
