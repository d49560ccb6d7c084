"""Speed of a large record: opening it and one person's curve; growth from 10^4 to 10^6 attempts.

python -m pytest tests/benchmarks/test_records_speed.py --benchmark-enable
python -m pytest tests/benchmarks/test_records_speed.py -m sweep -s    # with 10^6 attempts, minutes to fill
"""

import json
from time import perf_counter

import pytest
from sqlalchemy import insert

from tests.records.scores import made_score
from trainer.records.cohort import cohort
from trainer.records.curve_plots import curve_figure, figure_bytes
from trainer.records.curves import skill_successes
from trainer.records.store import Store
from trainer.records.tables import AttemptRow, ScoreRow

EACH = 200  # attempts of one person
CHUNK = 20_000
RECORD = json.dumps(made_score().record())


def filled(path, attempts):
    """Fill a record with invented attempts of many people; returns its URL."""
    url = f"sqlite:///{path}"
    with Store(url) as store, store.engine.begin() as connection:
        for start in range(0, attempts, CHUNK):
            numbers = range(start, min(start + CHUNK, attempts))
            connection.execute(insert(AttemptRow), [_attempt(n) for n in numbers])
            connection.execute(insert(ScoreRow), [_score(n) for n in numbers])
    return url


def _attempt(n):
    return {
        "identity": f"{n:032x}", "person": f"P-{n // EACH}", "station": "", "case_title": f"Case {n % 14}",
        "case_version": 1, "mode": "practice", "seed": n, "seconds": 600.0, "events": 800, "journal": "",
        "started": f"2026-{1 + n % 12:02d}-{1 + n % 28:02d}T10:00:00.000+00:00",
    }  # fmt: skip


def _score(n):
    return {
        "identity": f"{n:032x}", "rubric": "default", "rubric_version": 1, "rubric_digest": "1",
        "program": "0.1.0", "scored": "2026-02-01T10:00:00.000+00:00", "percent": 50.0 + n % 50,
        "passed": n % 50 >= 30, "critical": 0, "record": RECORD,
    }  # fmt: skip


def curve_of_one(url):
    """Open a record and draw the curve of one person, as a person asks for it."""
    with Store(url) as store:
        rows = store.attempts(person="P-7")
    successes = skill_successes(rows, skill="needle")
    return len(successes), figure_bytes(curve_figure(successes, title="P-7"), kind="png")


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    return filled(tmp_path_factory.mktemp("records") / "records.sqlite", 4 * CHUNK // 8)


@pytest.mark.benchmark(group="records")
def test_open_and_draw_one_curve(benchmark, url):
    count, picture = benchmark(lambda: curve_of_one(url))
    assert count == EACH and picture.startswith(b"\x89PNG")


@pytest.mark.benchmark(group="records")
def test_count_people(benchmark, url):
    def people():
        with Store(url) as store:
            return store.people()

    found = benchmark(people)
    assert len(found) == 50 and sum(count for _, count, _, _ in found) == 10_000


@pytest.mark.sweep
def test_growth_to_a_million(tmp_path):
    """Prints seconds by attempts: one curve must not grow with the record, counting must grow evenly."""
    curve_of_one(filled(tmp_path / "first.sqlite", 2_000))  # imports and fonts
    for attempts in (10_000, 100_000, 1_000_000):
        path = tmp_path / f"{attempts}.sqlite"
        began = perf_counter()
        url = filled(path, attempts)
        full = perf_counter()
        count, _ = curve_of_one(url)
        drawn = perf_counter()
        with Store(url) as store:
            people = store.people()
        counted = perf_counter()
        with Store(url) as store:
            cases = cohort(store)
        told = perf_counter()
        print(
            f"\n{attempts:>9} attempts, {path.stat().st_size / 1e6:.0f} MB: filled {full - began:.2f} s, "
            f"curve {drawn - full:.3f} s, people {counted - drawn:.2f} s, cohort {told - counted:.2f} s"
        )
        assert count == EACH and len(people) == attempts // EACH
        assert sum(case.attempts for case in cases) == attempts
        path.unlink()
