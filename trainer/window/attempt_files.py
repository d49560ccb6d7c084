"""The journals of this machine: where a new one goes, which can go on, which are finished."""

import re
import time
from dataclasses import dataclass
from pathlib import Path

from trainer.attempt.events import FinishAttempt
from trainer.attempt.journal import Journal, read
from trainer.attempt.plan_events import DeferCase, RefuseCase
from trainer.records.store import Store, identity_of
from trainer.window.folders import attempts_folder

ENDS = (FinishAttempt, DeferCase, RefuseCase)
MOST_SHOWN = 40


@dataclass(frozen=True)
class Listed:
    """A journal of this machine.

    Parameters
    ----------
    path : pathlib.Path
    title, mode : str
    finished : bool
    events : int
    seconds : float
        By the stamp of its last event. [s]
    changed : float
        When it was written last, since 1970. [s]
    """

    path: Path
    title: str
    mode: str
    finished: bool
    events: int
    seconds: float
    changed: float


def new_journal(scenario, *, seed, mode):
    """Return (Journal, path) of a new attempt."""
    words = re.sub(r"[^a-z0-9]+", "-", scenario.title.lower()).strip("-")[:40] or "case"
    stem = f"{time.strftime('%Y%m%d-%H%M%S')}-{words}"
    for number in range(1, 1000):
        path = attempts_folder() / (f"{stem}.jsonl" if number == 1 else f"{stem}-{number}.jsonl")
        try:
            return Journal.create(path, scenario=scenario, seed=seed, mode=mode), path
        except FileExistsError:
            continue
    raise OSError(f"{attempts_folder()} must have room for a new name, got {stem} in use: wait a second")


def listed(*, most=MOST_SHOWN):
    """Return the journals as Listed, newest first; a file that is no journal is left out."""
    found = []
    files = sorted(attempts_folder().glob("*.jsonl"), key=lambda file: -file.stat().st_mtime)
    for file in files[:most]:
        try:
            record = read(file)
        except (ValueError, OSError):
            continue
        events = record.events
        finished = any(isinstance(event, ENDS) for event in events[-1:])
        stamps = [entry.stamp for entry in record.entries if entry.stamp is not None]
        last = stamps[-1] if stamps else 0.0
        title, changed = record.scenario.title, file.stat().st_mtime
        found.append(Listed(file, title, record.mode, finished, len(events), last, changed))
    return found


def scores_of(paths):
    """Return {path: (verdict, score)} of journals that the record knows; nothing where it cannot be read."""
    try:
        with Store() as store:
            known = store.latest([identity_of(path.read_bytes()) for path in paths])
    except (OSError, ValueError):
        return {}
    found = {}
    for path in paths:
        row = known.get(identity_of(path.read_bytes()))
        if row is not None:
            percent, passed = row
            found[path] = ("met" if passed else "missed", f"{percent:.0f}")
    return found


def day_words(then, *, now=None):
    """Return "today", "yesterday" or a date like "18 November"."""
    now = time.time() if now is None else now
    days = (time.mktime(time.localtime(now)[:3] + (12, 0, 0, 0, 0, -1))
            - time.mktime(time.localtime(then)[:3] + (12, 0, 0, 0, 0, -1))) / 86400.0  # fmt: skip
    if round(days) in (0, 1):
        return ("today", "yesterday")[round(days)]
    return time.strftime("%d %B", time.localtime(then)).lstrip("0")
