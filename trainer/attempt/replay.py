"""The same events again: replay, and going on with an attempt that was broken off."""

from dataclasses import dataclass

from trainer import __version__
from trainer.attempt.attempt import Attempt
from trainer.attempt.journal import Journal, read, tables_version
from trainer.attempt.state import digest


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
    attempt = Attempt(record.scenario, seed=record.seed, mode=record.mode, anatomy=anatomy, progress=progress)
    different = None
    for number, entry in enumerate(record.entries, start=1):
        try:
            state = attempt.do(entry.event, stamp=entry.stamp)
        except ValueError as error:
            # Event 1 stands on line 2, after the header.
            place = f"{record.path} line {number + 1}"
            raise ValueError(f"{place}: event {number} was refused: {error}") from None
        if different is None and digest(state) != entry.digest:
            different = number
    same_version = (record.program, record.tables) == (__version__, tables_version())
    return Replayed(attempt, different, same_version)


def resumed(path, *, anatomy=None, progress=None):
    """Return (Attempt, Replayed, Record): an attempt where its journal broke off, going on in the same file.

    Raises
    ------
    ValueError
        If the journal is damaged before its last line, or an event is refused now.
    OSError
        If the file cannot be read or written.
    """
    record = read(path)
    replayed = repeat(record, anatomy=anatomy, progress=progress)
    replayed.attempt.journal = Journal.resume(path, record)
    return replayed.attempt, replayed, record
