"""Rubrics in TOML: points by threshold, refusals with line numbers."""

import pytest

from scenarios.scenario import RUBRICS, rubric_names
from trainer.scoring.measure import MEASURES
from trainer.scoring.rubric import Criterion, from_toml, load

DEFAULT = (RUBRICS / "default.toml").read_text(encoding="utf-8")
TEXTS = {"key": "k", "title": "t", "status": "assumed", "source": "s", "remedy": "r"}


def criterion(**changes):
    return Criterion(part="needle", measure="approach_angle", points=4.0, **TEXTS, **changes)


def test_every_built_in_rubric_loads_by_its_name():
    assert "default" in rubric_names()
    for name in rubric_names():
        assert load(name).name == name


def test_the_default_follows_the_rules_of_thumb():
    rubric = load("default")
    by_key = {one.key: one for one in rubric.criteria}
    critical = {one.key for one in rubric.criteria if one.critical}
    assert {"safety-items", "decision", "level", "lateral", "dura", "dorsal"} <= critical
    assert by_key["squared"].full_to == 5.0
    assert by_key["beam"].full_to == 133.0
    assert by_key["steps"].full_to == 2.0
    assert by_key["approach"].share(38.0) == 1.0
    assert by_key["approach"].share(60.0) == 0.0
    assert 0.0 < by_key["approach"].share(50.0) < 1.0
    assert all(one.remedy and one.source for one in rubric.criteria)


@pytest.mark.parametrize(
    ("value", "share"),
    [(5.0, 0.0), (10.0, 0.0), (15.0, 0.5), (20.0, 1.0), (30.0, 1.0), (35.0, 0.5), (50.0, 0.0)],
)
def test_points_fall_evenly_between_the_limits(value, share):
    both = criterion(zero_below=10.0, full_from=20.0, full_to=30.0, zero_above=40.0)
    assert both.share(value) == pytest.approx(share)


def test_a_single_limit_is_a_step():
    assert criterion(full_to=0.0).share(0.0) == 1.0
    assert criterion(full_to=0.0).share(1.0) == 0.0
    assert criterion(full_from=3.0).share(2.9) == 0.0
    assert criterion(wanted=True).share(True) == 1.0
    assert criterion(wanted=True).share(False) == 0.0


def test_what_is_asked_is_told_in_words():
    assert criterion(full_from=30.0, full_to=45.0).asked == "30 to 45 deg"
    assert criterion(full_to=5.0).asked == "at most 5 deg"
    assert criterion(full_from=5.0).asked == "at least 5 deg"
    assert criterion(wanted=False).asked == "no"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("points = 4.0", "points = -4.0", r"line \d+: criteria.1.points must lie between 0.5 and 1000"),
        ('measure = "card_read"', 'measure = "charm"', r"criteria.2.measure must be one of anatomic_offset"),
        ('part = "plan"', 'part = "lunch"', r"criteria.1.part must be 'plan', 'picture'"),
        ("critical = true", "critical = 1", r"criteria.1.critical must be true or false, got 1"),
        (
            'key = "card"',
            'key = "safety-items"',
            r"criteria must hold each key once, got 'safety-items' twice",
        ),
        ("zero_below = 40.0", "zero_below = 400.0", r"criteria.2 must have its limits in the order"),
        ("wanted = true", "wanted = true\nfull_to = 3.0", r"criteria.1 must have either wanted"),
        ("pass_percent = 80.0", "pass_percent = 0.0", r"line 6: pass_percent must lie between 1 and 100"),
        ("pass_percent = 80.0", "pass_percent = ", r"line 6: the line must be TOML"),
        ('name = "default"', 'nom = "default"', r"line 3: nom must be one of name, title"),
    ],
)
def test_a_wrong_rubric_is_refused_with_its_line(old, new, words):
    assert old in DEFAULT
    with pytest.raises(ValueError, match=words) as error:
        from_toml(DEFAULT.replace(old, new, 1), source="mine.toml")
    assert str(error.value).startswith("mine.toml")
    assert "\n" not in str(error.value)


def test_an_unknown_rubric_is_refused():
    with pytest.raises(ValueError, match="rubric must be one of default or the path of a TOML file, got 'x'"):
        load("x")


def test_the_digest_changes_with_anything():
    other = from_toml(DEFAULT.replace("points = 4.0", "points = 5.0", 1), source="x")
    assert other.digest != load("default").digest == from_toml(DEFAULT, source="y").digest


def test_every_measure_says_where_it_comes_from():
    assert len(MEASURES) >= 35
    for one in MEASURES.values():
        assert one.title
        assert one.source
