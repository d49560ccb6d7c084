"""Reading, writing and finding lines of TOML; the reference reader is tomllib."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios import toml_text

PLAIN = (
    st.text()
    | st.booleans()
    | st.integers(-(2**62), 2**62)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.lists(st.floats(allow_nan=False, allow_infinity=False), max_size=4)
)
KEYS = st.from_regex(r"[a-z_]{1,12}", fullmatch=True)


@given(
    st.dictionaries(KEYS, PLAIN, max_size=5),
    st.dictionaries(KEYS, st.dictionaries(KEYS, PLAIN, max_size=5), max_size=3),
)
def test_what_is_written_is_read_back_by_the_standard_library(plain, tables):
    content = {**plain, **tables}
    assert tomllib.loads(toml_text.write(content)) == content


TABLES = st.dictionaries(KEYS, PLAIN, max_size=3)


@given(st.dictionaries(KEYS, st.lists(TABLES, min_size=1, max_size=3) | TABLES | PLAIN, max_size=3), TABLES)
def test_lists_of_tables_inside_a_table_are_read_back(inner, other):
    content = {"title": "x", "anatomy": inner, "task": other}
    assert tomllib.loads(toml_text.write(content)) == content


def test_a_value_that_toml_cannot_hold_is_refused():
    with pytest.raises(TypeError, match="value must be text, a number"):
        toml_text.write({"nothing": None})


TEXT = '''title = "x"
patient = """
seed = 3
"""
seed = 4

[task]  # what to do
# side = "right"
side = "left"
needle_lengths_mm = [
    89.0,
]
[anatomy]
"scoliosis_deg" = 3

[[anatomy.findings]]
finding = "adhesion"
[[ anatomy . "findings" ]]  # the second
level = "T9"
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 1),
        (("seed",), 5),
        (("task",), 7),
        (("task", "side"), 9),
        (("task", "needle_lengths_mm", 0), 10),
        (("anatomy", "scoliosis_deg"), 14),
        (("task", "missing"), 7),
        (("anatomy", "findings"), 16),
        (("anatomy", "findings", 0, "finding"), 17),
        (("anatomy", "findings", 1, "level"), 19),
        (("anatomy", "findings", 1, "missing"), 18),
        (("missing",), None),
    ],
)
def test_the_line_of_a_key(path, line):
    assert tomllib.loads(TEXT)["seed"] == 4
    assert toml_text.line_of(TEXT, path) == line


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = = 2\n", 2),
        ('a = 1\nb = "open\nc = 3\n', 2),
        ("a = 1\n\na = 2\n", 3),
        ("[x\n", 1),
        ("a = [1,\n", 1),
    ],
)
def test_a_broken_text_is_refused_with_its_line(text, line):
    with pytest.raises(
        ValueError, match=rf"^case\.toml line {line}: the line must be TOML \(.+\), got .+: correct it$"
    ):
        toml_text.read(text, source="case.toml")
