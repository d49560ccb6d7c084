"""The cohort at a glance: how each case goes, and what it costs most, over everybody in the record."""

import json
from dataclasses import dataclass

WEAKEST = 3


@dataclass(frozen=True)
class CaseRow:
    """How a case goes in a cohort, by the last score of each attempt.

    Parameters
    ----------
    case : str
        Title.
    attempts, people : int
    passed : float
        Share of attempts. [1]
    mean : float
        Of 100.
    weakest : tuple of (str, float)
        Titles of the criteria that lost most, with the share of their points that was lost.
    """

    case: str
    attempts: int
    people: int
    passed: float
    mean: float
    weakest: tuple


def cohort(store):
    """Return the tuple of CaseRow of a Store, by title.

    Counting is done in the database; the criteria are read one attempt at a time.
    """
    lost = {}
    for case, record in store.records():
        _add(lost.setdefault(case, {}), json.loads(record)["items"])
    return tuple(
        CaseRow(case, attempts, people, passed / attempts, mean, _weakest(lost.get(case, {})))
        for case, attempts, people, passed, mean in store.cases()
    )


def _add(sums, items):
    for item in items:
        earned, points = sums.get(item["title"], (0.0, 0.0))
        sums[item["title"]] = earned + item["earned"], points + item["points"]


def _weakest(sums):
    shares = {title: 1.0 - earned / points for title, (earned, points) in sums.items() if points}
    worst = sorted((title for title in shares if shares[title] > 0.0), key=lambda t: (-shares[t], t))
    return tuple((title, shares[title]) for title in worst[:WEAKEST])
