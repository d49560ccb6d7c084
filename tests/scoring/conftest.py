"""Performers at the ordinary adult, scored, and short attempts done by hand."""

import pytest

from trainer.attempt.attempt import Attempt
from trainer.attempt.performer import perform
from trainer.attempt.performer_habits import PERFORMERS, habits_of
from trainer.scoring.log import Log


@pytest.fixture(scope="session")
def performed(finished):
    """Return {performer: Attempt} at the ordinary adult."""
    attempts = {"expert": finished.attempt}
    for name in PERFORMERS:
        if name != "expert":
            attempts[name] = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
            perform(attempts[name], habits=habits_of(name))
    return attempts


@pytest.fixture(scope="session")
def logs(performed):
    return {name: Log.of(attempt) for name, attempt in performed.items()}


@pytest.fixture
def after(finished):
    """Return a function that does events from the start and returns the Log."""

    def done(*events, stamps=None):
        attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
        for number, event in enumerate(events):
            attempt.do(event, stamp=stamps[number] if stamps else float(number))
        return Log.of(attempt)

    return done
