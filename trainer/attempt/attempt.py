"""An attempt while it runs: the one holder of the present state, on top of pure steps."""

from dataclasses import dataclass

from trainer.attempt.state import digest
from trainer.attempt.step import begin, step


@dataclass(frozen=True)
class Done:
    """One event of an attempt with what it led to.

    Parameters
    ----------
    event : one of trainer.attempt.events.EVENTS
    state : AttemptState
        After the event.
    digest : str
        Of `state`.
    stamp : float or None
        When, as the caller counts. [s]
    """

    event: object
    state: object
    digest: str
    stamp: float | None


class Attempt:
    """A running attempt.

    Parameters
    ----------
    scenario : scenarios.scenario.Scenario
    seed : int, optional
        The scenario's own where none is given.
    anatomy : meshes.anatomy.Anatomy, optional
    progress : callable, optional
        Of the building of the anatomy.
    journal : trainer.attempt.journal.Journal, optional
        Writes every event as soon as it has happened.
    """

    def __init__(self, scenario, *, seed=None, anatomy=None, progress=None, journal=None):
        self.first = begin(scenario, seed=seed, anatomy=anatomy, progress=progress)
        self.done = []
        self.journal = journal

    @property
    def scenario(self):
        return self.first.scenario

    @property
    def seed(self):
        return self.first.seed

    @property
    def anatomy(self):
        return self.first.anatomy

    @property
    def state(self):
        """The present AttemptState."""
        return self.done[-1].state if self.done else self.first

    @property
    def events(self):
        """The events so far, in order."""
        return tuple(done.event for done in self.done)

    def do(self, event, *, stamp=None):
        """Carry out an event and return the new state; a refused event raises and leaves no trace."""
        state = step(self.state, event)
        done = Done(event, state, digest(state), stamp)
        if self.journal is not None:
            self.journal.write(event, digest=done.digest, stamp=stamp)
        self.done.append(done)
        return state
