"""States of the finished attempt, one a phase."""

import pytest


@pytest.fixture(scope="session")
def states(finished):
    """Return one state of each phase; a plan is made before "picture", the canal reached before "lead"."""
    from trainer.attempt.events import PassLead, PlaceNeedle

    done = finished.attempt.done
    kinds = [type(one.event) for one in done]
    before_lead = kinds.index(PassLead) - 1
    return {
        "plan": finished.attempt.first,
        "picture": done[kinds.index(PlaceNeedle) - 1].state,
        "needle": done[before_lead].state,
        "lead": done[before_lead + 12].state,
        "debrief": done[-1].state,
    }
