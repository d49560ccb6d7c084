"""The case model: what it takes, what it refuses and with which words, and that TOML keeps every bit."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes.levels import INTERSPACES, LEVELS, split_interspace
from meshes.parameters import LIMITS, NAMES, SpineParameters
from meshes.units import radians
from scenarios import library
from scenarios.anatomy_settings import AnatomySettings, limits, parameter_name
from scenarios.scenario import Scenario, from_content, from_toml

ORDINARY = (library.FOLDER / "ordinary-adult.toml").read_text(encoding="utf-8")


def changed(old, new):
    assert ORDINARY.count(old) >= 1
    return ORDINARY.replace(old, new, 1)


@st.composite
def anatomies(draw):
    values = {
        key: draw(st.floats(*(round(b, 9) for b in limits(key))))
        for key in AnatomySettings.model_fields
        if limits(key) and draw(st.booleans())
    }
    return AnatomySettings(**values)


@st.composite
def scenarios(draw):
    interspace = draw(st.sampled_from(INTERSPACES))
    upper = LEVELS.index(split_interspace(interspace)[0])
    words = st.text(min_size=1, max_size=60).filter(str.strip)
    return Scenario(
        title=draw(words),
        patient=draw(words),
        seed=draw(st.integers(0, 2**32 - 1)),
        anatomy=draw(anatomies()),
        task={
            "target_level": draw(st.sampled_from(LEVELS[: upper + 1])),
            "target_offset_mm": draw(st.floats(-6, 6)),
            "interspace": interspace,
            "side": draw(st.sampled_from(["left", "right"])),
            "needle_lengths_mm": draw(st.lists(st.floats(50, 200), min_size=1, max_size=4)),
            "largest_approach_deg": draw(st.floats(15, 75)),
        },
    )


@settings(max_examples=60)
@given(scenarios())
def test_toml_and_plain_content_give_the_same_case_back(scenario):
    assert from_toml(scenario.to_toml(), source="case.toml") == scenario
    assert from_content(scenario.content(), source="journal") == scenario


@settings(max_examples=60)
@given(anatomies())
def test_every_accepted_anatomy_is_a_spine_with_the_same_values(anatomy):
    parameters = anatomy.parameters()
    for key, value in anatomy.model_dump().items():
        expected = radians(value) if key.endswith("_deg") else value
        assert getattr(parameters, parameter_name(key)) == expected


def test_the_keys_are_the_parameters_of_the_spine_and_their_defaults():
    assert [parameter_name(key) for key in AnatomySettings.model_fields] == list(NAMES)
    assert AnatomySettings().parameters() == SpineParameters()


@pytest.mark.parametrize("key", [key for key in AnatomySettings.model_fields if limits(key)])
def test_limits_of_the_anatomy(key):
    low, high = (round(b, 9) for b in limits(key))
    for good in (low, high):
        assert parameter_name(key) in LIMITS
        assert getattr(AnatomySettings(**{key: good}), key) == good
    for bad in (low - 0.01, high + 0.01, float("nan"), float("inf")):
        text = changed("[anatomy]", f"[anatomy]\n{key} = {bad!r}") if f"\n{key}" not in ORDINARY else None
        content = from_toml(ORDINARY, source="x").content()
        content["anatomy"][key] = bad
        with pytest.raises(
            ValueError, match=rf"anatomy\.{key} must lie between .* got .*: choose a value inside"
        ):
            from_content(content, source="case") if text is None else from_toml(text, source="case")


REFUSED = [
    (
        "lumbar_lordosis_deg = 50.0",
        "lumbar_lordosis_deg = 95",
        r"line 11: anatomy.lumbar_lordosis_deg must lie between 10 and 80, got 95: choose",
    ),
    (
        "lumbar_lordosis_deg = 50.0",
        'lumbar_lordosis_deg = "50"',
        r"line 11: anatomy.lumbar_lordosis_deg must be a number, got \"50\"",
    ),
    ("lumbar_lordosis_deg = 50.0", "lumbar_lordosis_deg = true", r"line 11: .* must be a number, got true"),
    (
        "body_mass_index = 25.0",
        "bmi = 25.0",
        r"line 16: anatomy.bmi must be one of stature_scale, .*, got 'bmi': rename or remove it",
    ),
    (
        "[task]",
        "[tasks]",
        r"line 19: tasks must be one of title, .*, got 'tasks': rename .* \(and 1 more to correct\)",
    ),
    ("seed = 52", "", r"^case.toml: seed must be given, got nothing: add it"),
    ("seed = 52", "seed = 5.5", r"line 4: seed must be a whole number, got 5.5"),
    ("seed = 52", "seed = -1", r"line 4: seed must lie between 0 and 4294967295, got -1"),
    ("seed = 52", "seed == 52", r"line 4: the line must be TOML"),
    ('title = "Ordinary adult"', 'title = " "', r"line 2: title must hold 1 to 1000 characters, got 0"),
    ('title = "Ordinary adult"', "title = 3", r"line 2: title must be text in quotes, got 3"),
    (
        'curve_top = "T8"',
        'curve_top = "T3"',
        r"line 14: anatomy.curve_top must be one of T6, .* got 'T3': name a modelled level",
    ),
    ('"T12-L1"', '"T12-L2"', r"line 22: task.interspace must be one of T6-T7, .* got 'T12-L2'"),
    (
        'target_level = "T8"',
        'target_level = "S1"',
        r"line 20: task.target_level must be one of T6, .* L5, got 'S1': name a vertebra",
    ),
    (
        'target_level = "T8"',
        'target_level = "L3"',
        r"line 19: task must have its target_level above the interspace, got L3 and T12-L1",
    ),
    (
        "target_offset_mm = 1.5",
        "target_offset_mm = 9",
        r"line 21: task.target_offset_mm must lie between -6 and 6, got 9",
    ),
    ('side = "left"', 'side = "middle"', r"line 23: task.side must be 'left' or 'right', got \"middle\""),
    (
        "[89.0, 102.0, 114.0, 152.0]",
        "[]",
        r"line 24: task.needle_lengths_mm must hold at least one length, got an empty list",
    ),
    (
        "[89.0, 102.0, 114.0, 152.0]",
        "[8.9]",
        r"line 24: task.needle_lengths_mm must lie between 50 and 200, got 8.9",
    ),
    (
        "[89.0, 102.0, 114.0, 152.0]",
        "114.0",
        r"line 24: task.needle_lengths_mm must be a list in square brackets, got 114.0",
    ),
    (
        "largest_approach_deg = 35.0",
        "largest_approach_deg = 5",
        r"line 25: task.largest_approach_deg must lie between 15 and 75, got 5",
    ),
    ("seed = 52", "anatomy = 3", r"the line must be TOML"),
]


@pytest.mark.parametrize(("old", "new", "words"), REFUSED, ids=[new or "nothing" for _, new, _ in REFUSED])
def test_a_bad_file_is_refused_in_one_sentence_with_its_line(old, new, words):
    with pytest.raises(ValueError, match=words) as error:
        from_toml(changed(old, new), source="case.toml")
    assert "\n" not in str(error.value)
    assert str(error.value).startswith("case.toml")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("lumbar_lordosis_deg = 50.0", "lumbar_lordosis_deg = 80"),
        ("seed = 52", "seed = 4294967295"),
        ('"T12-L1"', '"t12/l1"'),
        ('target_level = "T8"', 'target_level = "T12"'),
        ("target_offset_mm = 1.5", "target_offset_mm = -6"),
        ("[89.0, 102.0, 114.0, 152.0]", "[200, 50]"),
        ("largest_approach_deg = 35.0", "largest_approach_deg = 15"),
        ("[anatomy]", "[anatomy]\nskin_to_epidural_mm = 60.0"),
    ],
)
def test_the_good_neighbour_passes(old, new):
    assert from_toml(changed(old, new), source="case.toml").title == "Ordinary adult"


def test_settings_change_a_copy():
    ordinary = library.load("ordinary-adult")
    flat = ordinary.with_settings({"lumbar_lordosis_deg": 20.0})
    assert flat.anatomy.lumbar_lordosis_deg == 20.0
    assert ordinary.anatomy.lumbar_lordosis_deg == 50.0
    assert flat.task == ordinary.task
    with pytest.raises(ValueError, match="^--set: anatomy.lordosis must be one of"):
        ordinary.with_settings({"lordosis": 20.0})


def test_a_value_in_place_of_a_table_is_refused():
    head, task = ORDINARY.split("[anatomy]")[0], ORDINARY[ORDINARY.index("[task]") :]
    with pytest.raises(ValueError, match="^case.toml line 8: anatomy must be a table, got 3: correct it"):
        from_toml(head.rstrip() + "\nanatomy = 3\n\n" + task, source="case.toml")
