"""The loader of the tables refuses what a table must not hold; every table that ships loads."""

from pathlib import Path

import pytest

from meshes.levels import LEVELS
from meshes.tables import loader
from meshes.units import degrees, radians

HEADER = "key,value,low,high,unit,status,source,locator"
GOOD = "L1.width,41.2,40,42,mm,published,Somebody 1999,Table 2"
SHIPPED = sorted(path.stem for path in Path(loader.__file__).parent.glob("*.csv"))


@pytest.fixture
def written(tmp_path):
    """Return a function that writes lines to a table and reads it."""

    def read(*lines):
        path = tmp_path / "sizes.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return loader.read_table(path)

    return read


def test_a_good_row_is_read(written):
    figure = written(HEADER, GOOD)["L1.width"]
    assert (figure.value, figure.low, figure.high) == (41.2, 40.0, 42.0)
    assert (figure.unit, figure.status) == ("mm", "published")
    assert (figure.source, figure.locator) == ("Somebody 1999", "Table 2")


def test_low_and_high_may_be_missing(written):
    figure = written(HEADER, "width,41.2,,,mm,assumed,own choice,")["width"]
    assert figure.low is None
    assert figure.high is None


@pytest.mark.parametrize(
    ("unit", "inside"),
    [("deg", radians(90.0)), ("cm", 900.0), ("kPa", 0.09), ("percent", 0.9), ("1/cm", 9.0)],
)
def test_values_are_converted_to_the_units_inside(written, unit, inside):
    figure = written(HEADER, f"x,90,45,180,{unit},derived,somewhere,")["x"]
    assert figure.value == pytest.approx(inside)
    assert (figure.low, figure.high) == pytest.approx((inside / 2.0, inside * 2.0))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("w,1,,,furlong,published,Somebody,", "unit must be one of .* got 'furlong'"),
        ("w,1,,,mm,rumoured,Somebody,", "status must be one of published, .* got 'rumoured'"),
        ("w,1,,,mm,published,,", "source must name where the figure comes from, got nothing"),
        ("w,1,,,mm,published,   ,", "source must name where the figure comes from, got nothing"),
        ("w,,,,mm,published,Somebody,", "value must be a number, got nothing"),
        ("w,about 5,,,mm,published,Somebody,", "value, low and high must be numbers, got .*about 5"),
        ("w,5,low,,mm,published,Somebody,", "value, low and high must be numbers, got .*low"),
        ("w,1,,,mm,published,Somebody", "a row must have 8 cells"),
        ("w,1,,,mm,published,Somebody,,", "a row must have 8 cells"),
        (GOOD, "key must be unique, got 'L1.width' again"),
    ],
)
def test_a_bad_row_is_refused_with_its_line(written, row, words):
    with pytest.raises(loader.TableError, match=f"sizes.csv line 3: {words}"):
        written(HEADER, GOOD, row)


@pytest.mark.parametrize("header", ["key,value,unit,status,source", HEADER + ",note", HEADER.upper()])
def test_wrong_columns_are_refused(written, header):
    with pytest.raises(loader.TableError, match="columns must be key,value,low,high,.* correct line 1"):
        written(header, GOOD)


def test_an_empty_file_is_refused(tmp_path):
    path = tmp_path / "empty.csv"
    path.write_text("")
    with pytest.raises(loader.TableError, match="columns must be"):
        loader.read_table(path)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_table_loads(name):
    figures = loader.table(name)
    assert figures
    for figure in figures.values():
        assert figure.low is None or figure.high is None or figure.low <= figure.high


def test_number_and_numbers():
    assert loader.number("vertebrae", "T12.upper_endplate_width") == 39.0
    row = loader.numbers("vertebrae", "T12")
    assert row["upper_endplate_width"] == 39.0
    assert degrees(row["facet_angle"]) == pytest.approx(28.0)
    # T1 is not T12's beginning.
    assert loader.numbers("vertebrae", "T1") == {}


def test_every_level_has_the_same_dimensions():
    rows = [set(loader.numbers("vertebrae", level)) for level in LEVELS]
    assert all(row == rows[0] for row in rows)
    for level in LEVELS:
        assert set(loader.numbers("calibration", level)) <= rows[0]
