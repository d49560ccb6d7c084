"""Scores and journals made for the tests of the record: invented figures."""

from dataclasses import replace

from trainer.records.store import Entry
from trainer.scoring.score import Item, Score

ITEM = Item(
    key="dura", title="Dura untouched", part="needle", measure="dural_contacts", value=0.0, unit="",
    asked="at most 0", earned=10.0, points=10.0, critical=True, failed=False, status="published",
    source="Invented", remedy="Stop at the loss.",
)  # fmt: skip
COUNT = replace(
    ITEM, key="count", title="Levels counted", part="picture", measure="counted_both_ways", value=False,
    earned=0.0, points=4.0, critical=False, status="common practice", remedy="=HYPERLINK(count both ways)",
)  # fmt: skip


def made_score(*, percent=80.0, passed=True, version=1, case="Invented case"):
    """Return a Score."""
    return Score(
        case=case, case_version=1, rubric="default", rubric_version=version, rubric_digest=f"{version:08x}",
        program="0.1.0", mode="practice", seed=7, events=12, undone=0, items=(ITEM, COUNT), earned=10.0,
        points=14.0, percent=percent, pass_percent=75.0, critical_errors=(), passed=passed,
    )  # fmt: skip


def made_entry(number, *, person="B-17", **score):
    """Return the Entry of an invented journal; equal numbers are the same journal."""
    started = f"2026-01-{1 + number % 28:02d}T10:00:00.000+00:00"
    journal = f'{{"journal": {number}}}\n'.encode()
    return Entry(person, journal, made_score(**score), started, 600.0 + number, station="room 2")
