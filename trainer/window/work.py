"""Long work beside the window: in a thread of its own, with progress, and stopped by Esc."""

from PySide6.QtCore import QObject, QRunnable, QThreadPool, Signal, Slot

# Held from start to end: nobody else may hold it while its thread runs.
_RUNNING = set()


class Stopped(Exception):
    """The user has stopped the work."""


class _Signals(QObject):
    advanced = Signal(int, int, str)
    done = Signal(object)
    failed = Signal(object)
    stopped = Signal()


class Work(QRunnable):
    """One piece of long work.

    `signals.done(result)`, `signals.failed(error)` or `signals.stopped()` comes in the thread of the window.

    Parameters
    ----------
    task : callable
        `task(progress)`; it calls `progress(done, total, words)` now and then, which is where it can stop.
    """

    def __init__(self, task):
        super().__init__()
        self.setAutoDelete(False)
        self.task, self.signals, self.stopping = task, _Signals(), False

    def start(self):
        _RUNNING.add(self)
        QThreadPool.globalInstance().start(self)
        return self

    def stop(self):
        """Ask the work to end at its next report."""
        self.stopping = True

    def _progress(self, done, total, words):
        if self.stopping:
            raise Stopped
        self.signals.advanced.emit(int(done), int(total), str(words))

    @Slot()
    def run(self):
        try:
            result = self.task(self._progress)
        except Stopped:
            self.signals.stopped.emit()
        except Exception as error:
            self.signals.failed.emit(error)
        else:
            if self.stopping:
                self.signals.stopped.emit()
            else:
                self.signals.done.emit(result)
        finally:
            _RUNNING.discard(self)
