"""The record of an attempt on disk: JSON lines, one event a line, safe against a crash at any moment.

The first line says which program, tables, case and seed the events belong to. Every event carries the
digest of the state that it led to, so that a repetition can be compared to the last bit. Numbers are in
the units inside (mm, N, rad) because degrees would not return the same bits.
"""

import hashlib
import json
import math
import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import meshes.tables
from scenarios.scenario import LARGEST_SEED, from_content
from trainer import __version__
from trainer.attempt.events import Undo, from_record, to_record
from trainer.attempt.state import MODES, PRACTICE

FORMAT = 2
UNITS = "mm, N, s, rad, ml"
LATEST = 1e12  # [s]
_HEADER = ("journal", "program", "tables", "units", "scenario", "seed", "mode")


@cache
def tables_version():
    """Return 16 hex digits that change with any figure of the tables."""
    digest = hashlib.sha256()
    for file in sorted(Path(meshes.tables.__file__).parent.glob("*.csv")):
        digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:16]


@dataclass(frozen=True)
class Entry:
    """One event of a journal, with the digest of the state it led to and when it happened."""

    event: object
    digest: str
    stamp: float | None


@dataclass(frozen=True)
class Record:
    """A journal that has been read.

    Parameters
    ----------
    path : str
        Where it was read.
    program, tables : str
        Versions with which it was written.
    scenario : scenarios.scenario.Scenario
    seed : int
    mode : str
        "practice" or "assessment".
    entries : tuple of Entry
        All of them, with those taken back later and the Undo that took them back.
    dropped : str or None
        What is to be told about a torn last line.
    intact_bytes : int
        Length of the file up to the end of its last whole line.
    """

    path: str
    program: str
    tables: str
    scenario: object
    seed: int
    mode: str
    entries: tuple
    dropped: str | None
    intact_bytes: int

    @property
    def events(self):
        """The events that stand, without those taken back."""
        standing = []
        for entry in self.entries:
            if not isinstance(entry.event, Undo):
                standing.append(entry.event)
            elif standing:
                standing.pop()
        return tuple(standing)


class Journal:
    """An open journal; every line is on the disk before `write` returns."""

    def __init__(self, file):
        self._file = file

    @classmethod
    def create(cls, path, *, scenario, seed, mode=PRACTICE):
        """Begin a journal in a new file; raises FileExistsError if there is one."""
        journal = cls(open(path, "xb"))  # noqa: SIM115 the journal closes it
        journal._line(
            {
                "journal": FORMAT,
                "program": __version__,
                "tables": tables_version(),
                "units": UNITS,
                "scenario": scenario.content(),
                "seed": seed,
                "mode": mode,
            }
        )
        return journal

    @classmethod
    def resume(cls, path, record):
        """Go on with a journal that `read` has returned as `record`; a torn last line is cut off."""
        file = open(path, "r+b")  # noqa: SIM115 the journal closes it
        file.truncate(record.intact_bytes)
        file.seek(0, os.SEEK_END)
        return cls(file)

    def write(self, event, *, digest, stamp=None):
        """Append one event with the digest of the state that it led to."""
        self._line({**to_record(event), "state": digest, "stamp": stamp})

    def close(self):
        self._file.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def _line(self, content):
        self._file.write(json.dumps(content, ensure_ascii=False, allow_nan=False).encode() + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())


def read(path):
    """Return the Record of a journal.

    A torn last line, as a crash leaves it, is dropped; `dropped` tells so.

    Raises
    ------
    ValueError
        If the first line is not the header of a journal of this format, or another line is damaged.
    OSError
        If the file cannot be read.
    """
    raw = Path(path).read_bytes()
    # Every whole line ends in a line feed, which is written last.
    *lines, torn = raw.split(b"\n")
    if not lines:
        raise ValueError(_damaged(path, 1, "must be the header of a journal", torn))
    header = _header(path, lines[0])
    entries = tuple(_entry(path, number, line) for number, line in enumerate(lines[1:], start=2))
    scenario = from_content(header["scenario"], source=f"{path} line 1")
    dropped = f"{path} line {len(lines) + 1}: the last line was torn and has been dropped" if torn else None
    return Record(
        str(path),
        header["program"],
        header["tables"],
        scenario,
        header["seed"],
        header["mode"],
        entries,
        dropped,
        len(raw) - len(torn),
    )


def _damaged(path, number, rule, line):
    shown = line[:60].decode("utf-8", errors="replace")
    return (
        f"{path} line {number}: the line {rule}, got {shown!r}: use a journal that this program has written"
    )


def _header(path, line):
    header = _object(path, 1, line)
    if header.get("journal") != FORMAT:
        raise ValueError(_damaged(path, 1, f"must be the header of a journal of format {FORMAT}", line))
    kinds = {"program": str, "tables": str, "units": str, "scenario": dict, "seed": int, "mode": str}
    if header.keys() != set(_HEADER) or not all(type(header[k]) is kind for k, kind in kinds.items()):
        raise ValueError(_damaged(path, 1, f"must name {', '.join(_HEADER)}", line))
    if not 0 <= header["seed"] <= LARGEST_SEED:
        raise ValueError(_damaged(path, 1, f"must give a seed from 0 to {LARGEST_SEED}", line))
    if header["mode"] not in MODES:
        raise ValueError(_damaged(path, 1, f"must give the mode as one of {', '.join(MODES)}", line))
    if header["units"] != UNITS:
        raise ValueError(_damaged(path, 1, f"must give the units as {UNITS!r}", line))
    return header


def _entry(path, number, line):
    content = _object(path, number, line)
    digest, stamp = content.pop("state", None), content.pop("stamp", None)
    if not isinstance(digest, str) or not (stamp is None or _is_time(stamp)):
        raise ValueError(_damaged(path, number, "must carry the digest of a state and a stamp", line))
    try:
        return Entry(from_record(content), digest, stamp)
    except ValueError as error:
        raise ValueError(f"{path} line {number}: {error}") from None


def _is_time(stamp):
    number = isinstance(stamp, int | float) and not isinstance(stamp, bool)
    # A whole number of a thousand digits is no time.
    return number and abs(stamp) < LATEST and math.isfinite(stamp)


def _object(path, number, line):
    try:
        content = json.loads(line)
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, dict):
        raise ValueError(_damaged(path, number, "must be a JSON object", line))
    return content
