"""The same events again: replay, and undo as replay without the last event."""

from dataclasses import dataclass

from trainer import __version__
from trainer.attempt.attempt import Attempt
from trainer.attempt.journal import tables_version
from trainer.attempt.step import begin, step


@dataclass(frozen=True)
class Replayed:
    """What a repetition of a record showed.

    Parameters
    ----------
    attempt : Attempt
        After the last event that could be repeated.
    first_difference : int or None
        Number of the first event (from 1) whose state differs in any bit from the recorded one.
    same_version : bool
        Whether program and tables are those that wrote the record.
    """

    attempt: Attempt
    first_difference: int | None
    same_version: bool

    @property
    def identical(self):
        return self.first_difference is None


def repeat(record, *, anatomy=None, progress=None):
    """Run the events of a journal's Record again and compare every state with the recorded digest.

    Raises
    ------
    ValueError
        If an event is refused; the sentence names the journal, the line and its number.
    """
    attempt = Attempt(record.scenario, seed=record.seed, anatomy=anatomy, progress=progress)
    different = None
    for number, entry in enumerate(record.entries, start=1):
        try:
            attempt.do(entry.event, stamp=entry.stamp)
        except ValueError as error:
            # Event 1 stands on line 2, after the header.
            place = f"{record.path} line {number + 1}"
            raise ValueError(f"{place}: event {number} was refused: {error}") from None
        if different is None and attempt.done[-1].digest != entry.digest:
            different = number
    same_version = (record.program, record.tables) == (__version__, tables_version())
    return Replayed(attempt, different, same_version)


def undo(first, events):
    """Return the state after all but the last of `events`, run from the state `first`.

    Raises
    ------
    ValueError
        If there is no event to undo.
    """
    if not events:
        raise ValueError("events must hold at least one event to undo, got none: do something first")
    state = begin(first.scenario, seed=first.seed, anatomy=first.anatomy)
    for event in events[:-1]:
        state = step(state, event)
    return state
