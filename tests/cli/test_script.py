"""The script of `trainer steer`: what is read, and what is refused with its line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.commands.steer import Command, read_script, script_text


def test_comments_and_empty_lines():
    text = "# up\nadvance 5\n\n  withdraw 2.5 # a little\nrotate -90\n"
    assert read_script(text, source="s") == [
        Command("s", 2, "advance", 5.0),
        Command("s", 4, "withdraw", 2.5),
        Command("s", 5, "rotate", -90.0),
    ]


@given(st.lists(st.tuples(st.sampled_from(["advance", "withdraw", "rotate"]), st.floats(0, 500)), min_size=1))
def test_what_is_written_is_read(commands):
    text = "\n".join(f"{word} {amount!r}" for word, amount in commands)
    assert [(c.word, c.amount) for c in read_script(text, source="s")] == commands


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("turn 5", "the line must be one of advance, withdraw, rotate, saline and an amount, got 'turn 5'"),
        ("advance", "the line must be one of advance, withdraw, rotate, saline and an amount, got 'advance'"),
        ("advance 5 mm", "the line must be one of .*, got 'advance 5 mm'"),
        ("advance five", "the amount must be a number, got 'five': write like advance 5"),
        ("advance -1", "the amount must lie between 0 and 500 mm, got -1"),
        ("withdraw 501", "the amount must lie between 0 and 500 mm, got 501"),
        ("advance nan", "the amount must lie between 0 and 500 mm, got nan"),
        ("rotate inf", "the amount must lie between -3600 and 3600 degrees, got inf"),
    ],
)
def test_a_bad_line_is_refused_with_its_number(line, words):
    with pytest.raises(ValueError, match=f"^script.txt line 3: {words}"):
        read_script(f"advance 1\n\n{line}\n", source="script.txt")


def test_an_empty_script_is_refused():
    with pytest.raises(ValueError, match="must hold at least one command"):
        read_script("# nothing\n", source="s")


def test_a_script_of_other_bytes_is_refused(tmp_path):
    file = tmp_path / "s.txt"
    file.write_bytes(b"advance 5\xff")
    with pytest.raises(ValueError, match="the script must be UTF-8 text"):
        script_text(str(file))
    file.write_bytes(b"advance 5")
    assert script_text(str(file)) == "advance 5"
