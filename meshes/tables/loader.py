"""Read the CSV tables beside this file; refuse a row without unit, status or source.

Columns: key,value,low,high,unit,status,source,locator. A key may name a level: `T12.pedicle_width`.
"""

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from meshes.units import radians

COLUMNS = ("key", "value", "low", "high", "unit", "status", "source", "locator")
STATUSES = ("published", "derived", "common practice", "from memory", "assumed")
# Unit as written -> factor to the unit inside (mm, N, s, rad, MPa).
UNITS = {
    "mm": 1.0,
    "cm": 10.0,
    "mm2": 1.0,
    "mm^2": 1.0,
    "deg": radians(1.0),
    "rad": 1.0,
    "N": 1.0,
    "N/mm": 1.0,
    "N/mm2": 1.0,
    "N/mm4": 1.0,
    "N mm2": 1.0,
    "N mm": 1.0,
    "MPa": 1.0,
    "kPa": 1e-3,
    "1/mm": 1.0,
    "1/cm": 0.1,
    "g/cm3": 1.0,
    "keV": 1.0,
    "kg/m2": 1.0,
    "mm per kg/m2": 1.0,
    "1": 1.0,
    "percent": 0.01,
    "s": 1.0,
    "1/s": 1.0,
    "kV": 1.0,
    "kV/mm": 1.0,
    "mAs": 1.0,
    "mGy": 1.0,
    "uGy": 1e-3,
    "mGy/min": 1.0 / 60.0,
    "uGy/mAs": 1e-3,
    "1/mm2/uGy": 1e3,
    "mm/s": 1.0,
    "mm/(N s)": 1.0,
    "mL": 1e3,
    "mL/kPa": 1e6,
    "kPa s/mL": 1e-6,
    "mmHg": 1.333224e-4,
    "S/m": 1.0,
    "N/mm3": 1.0,
}


@dataclass(frozen=True)
class Figure:
    """One figure with where it comes from. `value`, `low`, `high` are in the units inside."""

    key: str
    value: float
    low: float | None
    high: float | None
    unit: str
    status: str
    source: str
    locator: str

    @property
    def printed(self):
        """Return the value in the table's own unit, as text."""
        return f"{self.value / UNITS[self.unit]:.6g}"


class TableError(ValueError):
    """A table row breaks a rule of the tables."""


def _figure(row, place):
    if row["unit"] not in UNITS:
        raise TableError(
            f"{place}: unit must be one of {', '.join(UNITS)}, got {row['unit']!r}: correct the row"
        )
    if row["status"] not in STATUSES:
        raise TableError(
            f"{place}: status must be one of {', '.join(STATUSES)}, got {row['status']!r}: correct the row"
        )
    if not row["source"].strip():
        raise TableError(f"{place}: source must name where the figure comes from, got nothing: add it")
    factor = UNITS[row["unit"]]
    try:
        value, low, high = (
            None if row[c] == "" else float(row[c]) * factor for c in ("value", "low", "high")
        )
    except ValueError as error:
        raise TableError(
            f"{place}: value, low and high must be numbers, got {error}: correct the row"
        ) from None
    if value is None:
        raise TableError(f"{place}: value must be a number, got nothing: fill it in")
    return Figure(row["key"], value, low, high, row["unit"], row["status"], row["source"], row["locator"])


def read_table(path):
    """Return {key: Figure} of one CSV file. Raises TableError naming file and line."""
    figures = {}
    with open(path, newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file)
        if tuple(reader.fieldnames or ()) != COLUMNS:
            raise TableError(
                f"{path}: columns must be {','.join(COLUMNS)}, got {reader.fieldnames}: correct line 1"
            )
        for row in reader:
            place = f"{Path(path).name} line {reader.line_num}"
            if None in row or None in row.values():
                raise TableError(f"{place}: a row must have {len(COLUMNS)} cells: check commas and quotes")
            figure = _figure(row, place)
            if figure.key in figures:
                raise TableError(f"{place}: key must be unique, got {figure.key!r} again: remove one")
            figures[figure.key] = figure
    return figures


@cache
def table(name):
    """Return {key: Figure} of a table of this folder, for example `table("neuraxis")`."""
    return read_table(Path(__file__).with_name(f"{name}.csv"))


def number(name, key):
    """Return the value of one figure in the units inside."""
    return table(name)[key].value


def numbers(name, prefix):
    """Return {rest of key: value} of all keys that begin with `prefix.`."""
    return dict(_numbers(name, prefix))


@cache
def _numbers(name, prefix):
    start = prefix + "."
    return {key[len(start) :]: f.value for key, f in table(name).items() if key.startswith(start)}
