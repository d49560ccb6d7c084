"""An attempt while it runs: the one holder of the present state, on top of pure steps."""

from dataclasses import dataclass

from trainer.attempt.events import Undo
from trainer.attempt.state import ASSESSMENT, PRACTICE, digest
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
    mode : str
        "practice" or "assessment".
    anatomy : meshes.anatomy.Anatomy, optional
    progress : callable, optional
        Of the building of the anatomy.
    journal : trainer.attempt.journal.Journal, optional
        Writes every event as soon as it has happened.
    """

    def __init__(self, scenario, *, seed=None, mode=PRACTICE, anatomy=None, progress=None, journal=None):
        self.first = begin(scenario, seed=seed, mode=mode, anatomy=anatomy, progress=progress)
        self.done = []
        self.undone = 0
        self.journal = journal

    @property
    def scenario(self):
        return self.first.scenario

    @property
    def seed(self):
        return self.first.seed

    @property
    def mode(self):
        return self.first.mode

    @property
    def anatomy(self):
        return self.first.anatomy

    @property
    def state(self):
        """The present AttemptState."""
        return self.done[-1].state if self.done else self.first

    @property
    def events(self):
        """The events so far, in order, without those taken back."""
        return tuple(done.event for done in self.done)

    def do(self, event, *, stamp=None):
        """Carry out an event and return the new state; a refused event raises and leaves no trace."""
        if isinstance(event, Undo):
            return self.undo(stamp=stamp)
        state = step(self.state, event)
        done = Done(event, state, digest(state), stamp)
        self._write(event, done.digest, stamp)
        self.done.append(done)
        return state

    def undo(self, *, stamp=None):
        """Take the last event back and return the state before it, as replay without it gives.

        Raises
        ------
        ValueError
            In an assessment, or if there is nothing to take back.
        """
        if self.mode == ASSESSMENT:
            raise ValueError("mode must be practice to undo, got assessment: withdraw or go on instead")
        if not self.done:
            raise ValueError("events must hold at least one event to undo, got none: do something first")
        state = self.done[-2].state if len(self.done) > 1 else self.first
        self._write(Undo(), digest(state), stamp)
        self.done.pop()
        self.undone += 1
        return state

    def _write(self, event, state_digest, stamp):
        if self.journal is not None:
            self.journal.write(event, digest=state_digest, stamp=stamp)
