"""The findings of a case: what a file may say, what is refused with which words, and the way back."""

from dataclasses import fields

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes import findings as f
from meshes.levels import INTERSPACES, LEVELS
from scenarios import library
from scenarios.anatomy_settings import AnatomySettings
from scenarios.finding_settings import EDGE, MODELS, settings_of
from scenarios.scenario import from_content, from_toml

ORDINARY = (library.FOLDER / "ordinary-adult.toml").read_text(encoding="utf-8")
PLACE = {"interspace": "T12-L1", "level": "L2", "upper": "L3", "lower": "L5"}
LINES = len(ORDINARY.splitlines())


def with_findings(*tables):
    """Return the ordinary adult's text with tables behind it; each starts with an empty line."""
    return ORDINARY + "".join(f"\n[[anatomy.findings]]\n{table}\n" for table in tables)


def names_of(kind):
    return [entry.name for entry in fields(kind)]


def least(kind):
    return kind(**{name: PLACE[name] for name in f.required(kind)})


@st.composite
def some(draw, kind):
    """Draw a finding of one kind."""
    values = {
        "interspace": st.sampled_from(INTERSPACES),
        "level": st.sampled_from(LEVELS),
        "upper": st.sampled_from(LEVELS[:6]),
        "lower": st.sampled_from(LEVELS[6:]),
        "ossified": st.booleans(),
        **{name: st.floats(*bounds) for name, bounds in kind.LIMITS.items()},
        "volume": st.floats(0.5, 1.5),
        **{name: st.sampled_from(choices) for name, choices in kind.CHOICES.items()},
    }
    return kind(**{name: draw(values[name]) for name in names_of(kind)})


@pytest.mark.parametrize("kind", f.KINDS.values(), ids=f.KINDS)
@settings(max_examples=15)
@given(data=st.data())
def test_a_finding_of_every_kind_comes_back_from_toml_as_it_went(kind, data):
    finding = data.draw(some(kind))
    parameters = library.load("ordinary-adult").anatomy.parameters().with_changes(findings=(finding,))
    scenario = library.load("ordinary-adult").model_copy(update={"anatomy": AnatomySettings.of(parameters)})
    again = from_toml(scenario.to_toml(), source="case.toml")
    assert again == scenario
    assert again.anatomy.parameters().findings == (finding,)
    assert from_content(scenario.content(), source="journal") == scenario


def test_every_kind_can_be_written_by_hand_with_its_least():
    kept = [kind for kind in f.KINDS.values() if kind is not f.InterspinousImplant]
    tables = [
        "\n".join(
            [f'finding = "{f.NAMES[kind]}"', *(f'{name} = "{PLACE[name]}"' for name in f.required(kind))]
        )
        for kind in kept
    ]
    found = from_toml(with_findings(*tables), source="case.toml").anatomy.parameters().findings
    assert found == tuple(least(kind) for kind in kept)


def test_models_and_findings_have_the_same_values_and_limits():
    assert set(MODELS) == set(f.KINDS)
    for name, kind in f.KINDS.items():
        keys = [EDGE.get(key, key) for key in names_of(kind)]
        assert list(MODELS[name].model_fields) == ["finding", *keys]
        assert settings_of(least(kind)).inside() == least(kind)


REFUSED = [
    (
        'finding = "spondylosis"',
        LINES + 2,
        "findings.1.finding must be one of facet-hypertrophy, .*'spondylosis'",
    ),
    ('level = "T9"', LINES + 2, "findings.1.finding must be given, got nothing: name the kind of finding"),
    ('finding = "adhesion"', LINES + 2, "findings.1.level must be given, got nothing: add it"),
    ('finding = "adhesion"\nlevel = "T3"', LINES + 4, "findings.1.level must be one of T6, .*got 'T3'"),
    (
        'finding = "adhesion"\nlevel = "T9"\nlength_mm = 90.0',
        LINES + 5,
        "findings.1.length_mm must lie between 4 and 60, got 90: choose a value inside",
    ),
    (
        'finding = "adhesion"\nlevel = "T9"\nlength = 9.0',
        LINES + 5,
        "findings.1.length must be one of finding, level, friction, hold, length_mm, got 'length': rename",
    ),
    (
        'finding = "laminectomy"\nlevel = "T9"\nside = "top"',
        LINES + 5,
        "findings.1.side must be 'both', 'left' or 'right', got \"top\": correct it",
    ),
    (
        'finding = "flavum-thickening"\ninterspace = "T9-T10"\nossified = "yes"',
        LINES + 5,
        'findings.1.ossified must be true or false, got "yes": correct it',
    ),
    (
        'finding = "pedicle-screws"\nupper = "L5"\nlower = "L3"',
        LINES + 2,
        "findings: upper must not lie below lower, got L5 and L3",
    ),
]


@pytest.mark.parametrize(("table", "line", "words"), REFUSED, ids=[words for *_, words in REFUSED])
def test_a_bad_finding_is_refused_in_one_sentence_with_its_line(table, line, words):
    with pytest.raises(ValueError, match=rf"^case\.toml line {line}: anatomy\.{words}") as error:
        from_toml(with_findings(table), source="case.toml")
    assert "\n" not in str(error.value)


def test_the_second_finding_is_named_as_such():
    good = 'finding = "adhesion"\nlevel = "T9"'
    with pytest.raises(ValueError, match=rf"line {LINES + 9}: anatomy\.findings\.2\.hold must lie between"):
        from_toml(with_findings(good, 'finding = "adhesion"\nlevel = "T8"\nhold = 99.0'), source="case.toml")
    assert len(from_toml(with_findings(good), source="case.toml").anatomy.findings) == 1


def test_contradictory_findings_are_refused():
    screws = 'finding = "pedicle-screws"\nupper = "L3"\nlower = "L5"'
    cut = 'finding = "laminectomy"\nlevel = "L4"\nreach = "{}"'
    with pytest.raises(
        ValueError, match="anatomy.findings: pedicle-screws must have a pedicle to hold, got L4"
    ):
        from_toml(with_findings(screws, cut.format("pedicles")), source="case.toml")
    assert from_toml(with_findings(screws, cut.format("facets")), source="case.toml")


def test_cement_that_finds_no_room_is_refused():
    cement = 'finding = "vertebral-cement"\nlevel = "T6"\nvolume_cc = {}'
    with pytest.raises(ValueError, match="anatomy: volume of vertebral-cement must be at most .* for T6"):
        from_toml(with_findings(cement.format(9.0)), source="case.toml")
    assert from_toml(with_findings(cement.format(0.9)), source="case.toml")


def test_findings_by_setting():
    scenario = library.load("ordinary-adult")
    changed = scenario.with_settings({"findings": [{"finding": "vertebral-cement", "level": "L2"}]})
    assert changed.anatomy.parameters().findings == (f.VertebralCement("L2"),)
    with pytest.raises(ValueError, match="^--set: anatomy.findings must be a list in square brackets, got 3"):
        scenario.with_settings({"findings": 3})


def test_gaps_of_the_flavum():
    text = ORDINARY.replace("[anatomy]", '[anatomy]\nflavum_gaps = ["l1/l2", "T9-T10"]')
    assert from_toml(text, source="x").anatomy.parameters().flavum_gaps == ("T9-T10", "L1-L2")
    with pytest.raises(ValueError, match=r"line 10: anatomy.flavum_gaps must be one of T6-T7, .*got 'L1-L3'"):
        from_toml(text.replace("l1/l2", "L1-L3"), source="x")


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ("12.5", "be a whole number, got 12.5"),
        ('"12"', 'be a whole number, got "12"'),
        ("true", "be a whole number, got true"),
        ("10", "lie between 11 and 13, got 10"),
        ("14", "lie between 11 and 13, got 14"),
    ],
)
def test_rib_pairs_are_counted(pairs, words):
    text = ORDINARY.replace("[anatomy]", f"[anatomy]\nrib_pairs = {pairs}")
    with pytest.raises(ValueError, match=f"line 10: anatomy.rib_pairs must {words}"):
        from_toml(text, source="x")
    good = ORDINARY.replace("[anatomy]", "[anatomy]\nrib_pairs = 11")
    assert from_toml(good, source="x").anatomy.parameters().rib_pairs == 11
