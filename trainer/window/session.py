"""An attempt in the window: events go in, one signal tells old and new state; nothing is drawn here."""

from PySide6.QtCore import QElapsedTimer, QObject, Signal

from trainer.attempt.state import PRACTICE


class Session(QObject):
    """Holds one Attempt and its clock.

    `changed(old, new)` follows every event; `refused(sentence)` one that may not be.

    Parameters
    ----------
    attempt : trainer.attempt.attempt.Attempt
    journal_path : pathlib.Path or None
        Told to the user when something breaks.
    elapsed : float
        Time that an attempt that goes on has behind it. [s]
    """

    changed = Signal(object, object)
    refused = Signal(str)

    def __init__(self, attempt, *, journal_path=None, elapsed=0.0):
        super().__init__()
        self.attempt, self.journal_path = attempt, journal_path
        self.before = elapsed
        self.clock = QElapsedTimer()
        self.clock.start()
        # Events of one stretch of a held key are taken back together.
        self.stretches = []
        self.stretch_open, self.last_kind = False, None

    @property
    def state(self):
        return self.attempt.state

    @property
    def practice(self):
        return self.attempt.mode == PRACTICE

    def seconds(self):
        """Return the time since the attempt began. [s]"""
        return self.before + self.clock.elapsed() / 1000.0

    def do(self, event, *, joined=False):
        """Carry out an event; returns whether it was allowed.

        Parameters
        ----------
        joined : bool
            It belongs to the same stretch of a held key as the event before.
        """
        old = self.state
        try:
            new = self.attempt.do(event, stamp=round(self.seconds(), 3))
        except ValueError as error:
            self.refused.emit(" ".join(str(error).split()))
            return False
        if joined and self.stretch_open and type(event) is self.last_kind:
            self.stretches[-1] += 1
        else:
            self.stretches.append(1)
        self.stretch_open, self.last_kind = True, type(event)
        self.changed.emit(old, new)
        return True

    def end_stretch(self):
        """The key has been let go: the next event begins something new."""
        self.stretch_open = False

    def undo(self):
        """Take back the last act, a whole stretch of a held key at once; practice only."""
        old = self.state
        count = self.stretches[-1] if self.stretches else 1
        try:
            for _ in range(count):
                self.attempt.undo(stamp=round(self.seconds(), 3))
        except ValueError as error:
            self.refused.emit(" ".join(str(error).split()))
            return False
        if self.stretches:
            self.stretches.pop()
        self.stretch_open = False
        self.changed.emit(old, self.state)
        return True

    def close(self):
        """Close the journal; the attempt can go on later."""
        if self.attempt.journal is not None:
            self.attempt.journal.close()
