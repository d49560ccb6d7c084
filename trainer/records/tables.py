"""The tables of the record of attempts. Pseudonyms only: nothing here tells who somebody is."""

import re

from sqlalchemy import Boolean, Float, ForeignKey, Index, Integer, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

PSEUDONYM = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,38}")


class Base(DeclarativeBase):
    """Base of all tables."""


class AttemptRow(Base):
    """One attempt, by its journal: the same journal, from whatever station, is the same attempt.

    `identity` is a digest of the journal's lines. Times are UTC as ISO 8601 text, so that a file and a server
    sort them alike.
    """

    __tablename__ = "attempts"
    identity: Mapped[str] = mapped_column(String(32), primary_key=True)
    person: Mapped[str] = mapped_column(String(40))
    station: Mapped[str] = mapped_column(String(80), default="")
    case_title: Mapped[str] = mapped_column(String(200))
    case_version: Mapped[int] = mapped_column(Integer)
    mode: Mapped[str] = mapped_column(String(12))
    seed: Mapped[int] = mapped_column(Integer)
    started: Mapped[str] = mapped_column(String(32))
    seconds: Mapped[float] = mapped_column(Float)
    events: Mapped[int] = mapped_column(Integer)
    journal: Mapped[str] = mapped_column(Text, default="")
    __table_args__ = (
        Index("attempts_by_person", "person", "started"),
        Index("attempts_by_case", "case_title", "started"),
    )


class ScoreRow(Base):
    """One score of an attempt under one version of one rubric."""

    __tablename__ = "scores"
    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    identity: Mapped[str] = mapped_column(ForeignKey("attempts.identity", ondelete="CASCADE"))
    rubric: Mapped[str] = mapped_column(String(200))
    rubric_version: Mapped[int] = mapped_column(Integer)
    rubric_digest: Mapped[str] = mapped_column(String(16))
    program: Mapped[str] = mapped_column(String(20))
    scored: Mapped[str] = mapped_column(String(32))
    percent: Mapped[float] = mapped_column(Float)
    passed: Mapped[bool] = mapped_column(Boolean)
    critical: Mapped[int] = mapped_column(Integer)
    record: Mapped[str] = mapped_column(Text)
    __table_args__ = (
        UniqueConstraint("identity", "rubric_digest", "program", name="one_score_a_version"),
        Index("scores_by_attempt", "identity", "number"),
    )


def check_pseudonym(name):
    """Return a pseudonym without blanks round it.

    Raises
    ------
    ValueError
        If it is empty, too long, or holds more than letters, figures, blanks, dots and dashes.
    """
    name = str(name).strip()
    if not PSEUDONYM.fullmatch(name):
        raise ValueError(
            "person must be a pseudonym of 1 to 39 letters, figures, blanks, dots and dashes, "
            f"got {name!r:.60}: choose a short code that is no real name"
        )
    return name
