"""The record of attempts: one embedded file by default, a server by URL for a department."""

import hashlib
import json
import os
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import platformdirs
from sqlalchemy import Integer, cast, create_engine, delete, event, func, insert, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, IntegrityError, OperationalError, SQLAlchemyError

from meshes.compiled import APPLICATION
from trainer.records.tables import AttemptRow, Base, ScoreRow, check_pseudonym

URL_NAME = "TRAINER_RECORDS"
FILE = "records.sqlite"
DRIVERS = {"postgresql": "postgresql+psycopg", "postgres": "postgresql+psycopg"}
WAIT = 10.0  # [s] for another station's write


class RecordsError(OSError):
    """The record of attempts cannot be reached or written."""


@dataclass(frozen=True)
class Entry:
    """An attempt as it goes into the record.

    Parameters
    ----------
    person : str
        A pseudonym.
    journal : bytes
        The whole journal; its lines tell one attempt from another.
    score : trainer.scoring.score.Score
    started : str
        UTC, ISO 8601.
    seconds : float
        How long it took. [s]
    station : str
    """

    person: str
    journal: bytes
    score: object
    started: str
    seconds: float
    station: str = ""

    @property
    def identity(self):
        """32 hex digits that belong to this journal alone."""
        return identity_of(self.journal)


def identity_of(journal):
    """Return the 32 hex digits that belong to the lines of a journal (bytes)."""
    return hashlib.sha256(journal).hexdigest()[:32]


def records_url(environment=os.environ):
    """Return the URL of the record: that of TRAINER_RECORDS, else a file in the user's data folder."""
    given = environment.get(URL_NAME, "").strip()
    if not given:
        folder = Path(platformdirs.user_data_dir(APPLICATION, appauthor=False))
        folder.mkdir(parents=True, exist_ok=True)
        return f"sqlite:///{folder / FILE}"
    scheme, sign, rest = given.partition("://")
    if not sign:
        return f"sqlite:///{Path(given).expanduser()}"
    return f"{DRIVERS.get(scheme, scheme)}://{rest}"


def now_utc():
    """Return the present time, UTC, as ISO 8601 text."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Store:
    """An open record.

    Parameters
    ----------
    url : str, optional
        That of `records_url` where none is given.

    Raises
    ------
    RecordsError
        If the record cannot be opened, in one sentence.
    ValueError
        If the URL makes no sense.
    """

    def __init__(self, url=None):
        self.url = url or records_url()
        try:
            self.engine = create_engine(make_url(self.url), **_ways(self.url))
        except (ArgumentError, ImportError, SQLAlchemyError) as error:
            raise ValueError(
                f"{URL_NAME} must be a path or a URL like postgresql://user@host/name, "
                f"got {_shown(self.url)!r}: {_first_line(error)}"
            ) from None
        if self.engine.dialect.name == "sqlite":
            event.listen(self.engine, "connect", _prepare_file)
            event.listen(self.engine, "begin", _begin_file)
        with self._writing() as connection:
            Base.metadata.create_all(connection)

    @contextmanager
    def _told(self):
        """Turn what the database says into one sentence."""
        try:
            yield
        except OperationalError as error:
            raise RecordsError(
                f"the record {_shown(self.url)} must be there and writable, got {_first_line(error.orig)!r}: "
                "check the path or the server; the journal of the attempt is kept"
            ) from None

    @contextmanager
    def _writing(self):
        """Yield a connection in a transaction that writes: on a file it waits its turn from the start."""
        with self._told(), self.engine.connect() as plain:
            connection = plain.execution_options(writes=True)
            with connection.begin():
                yield connection

    def add(self, entry):
        """Put an attempt and its score into the record; returns whether anything was new."""
        person, score = check_pseudonym(entry.person), entry.score
        attempt = {
            "identity": entry.identity, "person": person, "station": entry.station, "case_title": score.case,
            "case_version": score.case_version, "mode": score.mode, "seed": score.seed,
            "started": entry.started, "seconds": entry.seconds, "events": score.events,
            "journal": entry.journal.decode("utf-8", errors="replace"),
        }  # fmt: skip
        scored = {
            "identity": entry.identity, "rubric": score.rubric, "rubric_version": score.rubric_version,
            "rubric_digest": score.rubric_digest, "program": score.program, "scored": now_utc(),
            "percent": score.percent, "passed": score.passed, "critical": len(score.critical_errors),
            "record": json.dumps(score.record(), ensure_ascii=False),
        }  # fmt: skip
        try:
            return self._add(attempt, scored)
        except IntegrityError:
            # Another station of the room has put the same journal in at the same moment.
            return self._add(attempt, scored)

    def _add(self, attempt, scored):
        with self._writing() as connection:
            return _put(connection, attempt, [scored])

    def attempts(self, *, person=None, case=None, mode=None):
        """Return [{column: value}] of attempts with their latest score, oldest first."""
        given = {"person": person, "case_title": case, "mode": mode}
        chosen = [getattr(AttemptRow, name) == value for name, value in given.items() if value is not None]
        wanted = (
            select(
                *(column for column in AttemptRow.__table__.columns if column.name != "journal"),
                ScoreRow.rubric, ScoreRow.rubric_version, ScoreRow.program, ScoreRow.percent, ScoreRow.passed,
                ScoreRow.critical, ScoreRow.record,
            )
            .join(ScoreRow, ScoreRow.identity == AttemptRow.identity)
            .where(ScoreRow.number.in_(_latest(*chosen)), *chosen)
            .order_by(AttemptRow.started, AttemptRow.identity)
        )  # fmt: skip
        with self._told(), self.engine.connect() as connection:
            return [dict(row) for row in connection.execute(wanted).mappings()]

    def latest(self, identities):
        """Return {identity: (percent, passed)} of the latest scores of some attempts."""
        wanted = (
            select(ScoreRow.identity, ScoreRow.percent, ScoreRow.passed)
            .where(ScoreRow.identity.in_(list(identities)))
            .order_by(ScoreRow.number)
        )
        with self._told(), self.engine.connect() as connection:
            return {identity: (percent, passed) for identity, percent, passed in connection.execute(wanted)}

    def journal(self, identity):
        """Return the journal (bytes) of an attempt; raises KeyError where there is none."""
        wanted = select(AttemptRow.journal).where(AttemptRow.identity == identity)
        with self._told(), self.engine.connect() as connection:
            found = connection.execute(wanted).scalar_one_or_none()
        if found is None:
            raise KeyError(identity)
        return found.encode("utf-8")

    def people(self):
        """Return [(person, attempts, passed, mean percent)] by the last score of each attempt."""
        wanted = self._counted(AttemptRow.person, *_COUNTS)
        return [(person, count, int(passed), float(mean)) for person, count, passed, mean in wanted]

    def cases(self):
        """Return [(case title, attempts, people, passed, mean percent)] by the last score of each attempt."""
        count, passed, mean = _COUNTS
        people = func.count(AttemptRow.person.distinct())
        wanted = self._counted(AttemptRow.case_title, count, people, passed, mean)
        return [(case, many, heads, int(good), float(mean)) for case, many, heads, good, mean in wanted]

    def _counted(self, by, *counts):
        """Return the rows of counts over the last scores, grouped by a column; the database counts."""
        wanted = (
            select(by, *counts)
            .join(ScoreRow, ScoreRow.identity == AttemptRow.identity)
            .where(ScoreRow.number.in_(_latest()))
            .group_by(by)
            .order_by(by)
        )
        with self._told(), self.engine.connect() as connection:
            return connection.execute(wanted).all()

    def records(self):
        """Yield (case title, score as JSON text) of the last score of each attempt, a few at a time."""
        wanted = (
            select(AttemptRow.case_title, ScoreRow.record)
            .join(ScoreRow, ScoreRow.identity == AttemptRow.identity)
            .where(ScoreRow.number.in_(_latest()))
        )
        with self._told(), self.engine.connect() as connection:
            yield from connection.execution_options(yield_per=500).execute(wanted)

    def delete_person(self, person):
        """Delete everything of a person; returns how many attempts went."""
        mine = select(AttemptRow.identity).where(AttemptRow.person == person)
        with self._writing() as connection:
            connection.execute(delete(ScoreRow).where(ScoreRow.identity.in_(mine)))
            return connection.execute(delete(AttemptRow).where(AttemptRow.person == person)).rowcount

    def take_over(self, other):
        """Copy what another Store holds and this one does not; returns how many attempts were new."""
        new = 0
        with other.engine.connect() as source, self._writing() as connection:
            for attempt in source.execute(select(AttemptRow.__table__)).mappings():
                scores = source.execute(
                    select(ScoreRow.__table__).where(ScoreRow.identity == attempt["identity"])
                ).mappings()
                rows = [{k: v for k, v in score.items() if k != "number"} for score in scores]
                known = _known(connection, attempt["identity"])
                _put(connection, dict(attempt), rows)
                new += not known
        return new

    def close(self):
        self.engine.dispose()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()


# How many attempts, how many passed, and their mean.
_COUNTS = (func.count(), func.sum(cast(ScoreRow.passed, Integer)), func.avg(ScoreRow.percent))


def _latest(*chosen):
    """Return the numbers of the last score of each attempt that fulfils some conditions, as a selection."""
    wanted = select(func.max(ScoreRow.number)).group_by(ScoreRow.identity)
    if chosen:
        wanted = wanted.join(AttemptRow, AttemptRow.identity == ScoreRow.identity).where(*chosen)
    return wanted


def _ways(url):
    return {"connect_args": {"timeout": WAIT}} if url.startswith("sqlite") else {"pool_pre_ping": True}


def _begin_file(connection):
    """A reader that turns writer while another writes is refused at once: writers queue at the start."""
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _prepare_file(connection, _):
    """Readers do not wait for a writer, and nothing that was committed is lost with the power."""
    # The transactions are ours to begin.
    connection.isolation_level = None
    cursor = connection.cursor()
    for wish in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        cursor.execute(f"PRAGMA {wish}")
    cursor.close()


def _known(connection, identity):
    found = connection.execute(select(AttemptRow.identity).where(AttemptRow.identity == identity))
    return found.first() is not None


def _put(connection, attempt, scores):
    """Insert what is not there yet; returns whether anything was."""
    new = False
    if not _known(connection, attempt["identity"]):
        connection.execute(insert(AttemptRow).values(**attempt))
        new = True
    for score in scores:
        same = select(ScoreRow.number).where(
            ScoreRow.identity == score["identity"],
            ScoreRow.rubric_digest == score["rubric_digest"],
            ScoreRow.program == score["program"],
        )
        if connection.execute(same).first() is None:
            connection.execute(insert(ScoreRow).values(**score))
            new = True
    return new


def _shown(url):
    """Return a URL without its password."""
    try:
        return make_url(url).render_as_string(hide_password=True)
    except ArgumentError:
        return url


def _first_line(error):
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
