"""Two tables for statistics, one row an attempt and one row a criterion, and what each column means."""

import csv
import json

from meshes.whole_files import whole_file

ATTEMPTS, CRITERIA, DICTIONARY = "attempts.csv", "criteria.csv", "dictionary.csv"
ATTEMPT_COLUMNS = {
    "attempt": "digest of the journal; joins both tables",
    "person": "pseudonym",
    "station": "where it was done",
    "case": "title of the case",
    "case_version": "raised when the case changes what an attempt is worth",
    "mode": "practice or assessment",
    "seed": "of everything drawn at random",
    "started": "UTC, ISO 8601",
    "seconds": "how long it took [s]",
    "events": "number of acts",
    "rubric": "name of the rubric",
    "rubric_version": "raised when the rubric changes scores",
    "program": "version of the program that scored",
    "percent": "of the points that could be had",
    "passed": "1 or 0",
    "critical_errors": "number of critical criteria that earned nothing",
}
CRITERION_COLUMNS = {
    "attempt": "digest of the journal; joins both tables",
    "criterion": "key of the criterion",
    "part": "plan, picture, needle, lead or whole",
    "measure": "name of the figure that was taken",
    "value": "as measured; empty where it could not be; 1 or 0 for yes and no",
    "unit": "of the value",
    "earned": "points",
    "points": "that could be had",
    "critical": "1 where it fails the attempt if it earns nothing",
    "failed": "1 where it did",
    "status": "where the thresholds come from: published, common practice, derived, from memory, assumed",
}
_NAMES = {"attempt": "identity", "case": "case_title", "critical_errors": "critical"}


def write_csv(folder, rows):
    """Write attempts.csv, criteria.csv and dictionary.csv into a folder; returns their paths.

    Parameters
    ----------
    rows : sequence of dict
        From `Store.attempts`.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    attempts = [[_cell(row[_NAMES.get(c, c)]) for c in ATTEMPT_COLUMNS] for row in rows]
    criteria = [
        [
            row["identity"],
            *(_cell(item["key" if c == "criterion" else c]) for c in list(CRITERION_COLUMNS)[1:]),
        ]
        for row in rows
        for item in json.loads(row["record"])["items"]
    ]
    meanings = [
        [file, column, words]
        for file, columns in ((ATTEMPTS, ATTEMPT_COLUMNS), (CRITERIA, CRITERION_COLUMNS))
        for column, words in columns.items()
    ]
    folder.mkdir(parents=True, exist_ok=True)
    return [
        _written(folder / ATTEMPTS, list(ATTEMPT_COLUMNS), attempts),
        _written(folder / CRITERIA, list(CRITERION_COLUMNS), criteria),
        _written(folder / DICTIONARY, ["file", "column", "meaning"], meanings),
    ]


def _cell(value):
    """Return a value as a cell that no spreadsheet takes for a formula."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value


def _written(path, columns, rows):
    with whole_file(path) as draft, open(draft, "w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(rows)
    return path
