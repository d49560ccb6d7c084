"""One attempt of the reference performer at the ordinary adult, with its journal; real physics throughout."""

from types import SimpleNamespace

import pytest

from scenarios import library


@pytest.fixture(scope="session")
def finished(tmp_path_factory):
    """Return the finished attempt, what the performer did, and the path of its journal."""
    from trainer.attempt.attempt import Attempt
    from trainer.attempt.journal import Journal
    from trainer.attempt.performer import perform

    scenario = library.load("ordinary-adult")
    path = tmp_path_factory.mktemp("finished") / "attempt.jsonl"
    with Journal.create(path, scenario=scenario, seed=scenario.seed) as journal:
        attempt = Attempt(scenario, journal=journal)
        performance = perform(attempt)
    return SimpleNamespace(attempt=attempt, performance=performance, path=path)


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
