"""How the text of options becomes values, and how answers are written."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.commands.answers import as_json, grid, millimetres, plain, progress, rows
from trainer.commands.options import chosen_case

LIKE_A_PERSON = ["lumbar_lordosis_deg=60", "curve_top = T9", 'curve_bottom="L1"']


def test_settings_change_the_anatomy_of_a_case():
    scenario = chosen_case("ordinary-adult", LIKE_A_PERSON)
    assert scenario.anatomy.lumbar_lordosis_deg == 60.0
    assert (scenario.anatomy.curve_top, scenario.anatomy.curve_bottom) == ("T9", "L1")
    assert chosen_case("ordinary-adult", None).anatomy.lumbar_lordosis_deg == 50.0


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("lumbar_lordosis_deg", "--set must be NAME=VALUE, got 'lumbar_lordosis_deg'"),
        ("=3", "--set must be NAME=VALUE, got '=3'"),
        ("a=", "--set must be NAME=VALUE, got 'a='"),
        ("bmi=3", "--set: anatomy.bmi must be one of .*, got 'bmi'"),
        ("body_mass_index=99", "--set: anatomy.body_mass_index must lie between 16 and 50, got 99"),
        ("body_mass_index=much", '--set: anatomy.body_mass_index must be a number, got "much"'),
        ("body_mass_index=3\nseed=4", "--set: anatomy.body_mass_index must be a number"),
    ],
)
def test_a_bad_setting_is_refused(setting, words):
    with pytest.raises(ValueError, match=words):
        chosen_case("ordinary-adult", [setting])


def test_json_is_plain():
    np = pytest.importorskip("numpy")
    content = {"a": np.float64(1.5), "b": np.arange(3), "c": (float("nan"), float("inf"), None), 4: "é"}
    assert json.loads(as_json(content)) == {"a": 1.5, "b": [0, 1, 2], "c": [None, None, None], "4": "é"}


@given(st.recursive(st.none() | st.booleans() | st.floats() | st.text(), st.lists))
def test_whatever_is_made_plain_can_be_written(value):
    assert json.loads(as_json(value)) == plain(value)


def test_tables_line_up():
    assert grid(("name", "mm"), [("a", "1.5"), ("long name", "-10.5")]) == (
        "name          mm\na            1.5\nlong name  -10.5"
    )
    assert rows([("a", 1), ("long", 2)]) == "a     1\nlong  2"
    assert millimetres(None) == millimetres(float("nan")) == "-"
    assert millimetres(1.26) == "1.3 mm"


def test_progress_off_a_terminal_tells_each_words_once(capsys):
    with progress("Work", patience=0.0) as report:
        for done in range(3):
            report(done, 3, "one")
        report(3, 3, "two")
        report(3, 3)
    captured = capsys.readouterr()
    assert (captured.out, captured.err) == ("", "Work: one\nWork: two\nWork\n")


def test_quick_work_is_done_in_silence(capsys):
    with progress("Work", patience=3600.0) as report:
        report(1, 1, "one")
    assert capsys.readouterr().err == ""
