"""`trainer needle`: practising the feel without a screen."""

import json

import pytest

from trainer.cli import main
from trainer.commands.needle import read_order


def run(capsys, *arguments):
    with pytest.raises(SystemExit) as ended:
        main([str(word) for word in arguments])
    out = capsys.readouterr()
    return ended.value.code, out.out, out.err


@pytest.fixture
def script(tmp_path):
    def write(*lines):
        path = tmp_path / "orders.txt"
        path.write_text("\n".join(lines), encoding="utf-8")
        return path

    return write


def test_a_script_leads_to_the_loss(capsys, script):
    lines = [
        "push 40  # through muscle",
        "",
        "push 20",
        "stylet out",
        *["press 1"] * 30,
        "lead",
        "quit",
        "nonsense",
    ]
    code, out, err = run(
        capsys, "needle", "ordinary-adult", "--script", script(*lines), "--json", "--grip", "braced"
    )
    assert code == 0, err
    found = json.loads(out)
    lost = next(state for state in found if any("resistance is lost" in words for words in state["told"]))
    assert lost["hidden"]["tissue"] == "epidural space" and lost["hidden"]["past_flavum_mm"] > 0.0
    assert found[-1]["after"] == "lead" and found[0]["after"] == "push 40"


def test_a_table_tells_what_the_hand_feels_but_not_where_it_is(capsys, script):
    orders = script("push 12", "push 2", "steeper 2", "back 3", "bevel 180", "stylet out", "test air", "drop")
    code, out, _ = run(capsys, "needle", "ordinary-adult", "--script", orders)
    assert code == 0
    assert "depth mm" in out and "soft" in out and "fat" not in out and "the drop hangs still" in out
    code, out, _ = run(capsys, "needle", "ordinary-adult", "--script", orders, "--show")
    assert code == 0 and "fat" in out and "intact" in out


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("pull 3", "line 1: the line must be one of push MM"),
        ("push", "the line must be one of"),
        ("push far", "the amount must be a number, got 'far'"),
        ("push 90", "must lie between 0.05 and 50 mm, got 90"),
        ("test water", "test must be followed by saline or air, got 'water'"),
        ("lead", "line 1: stylet must be out"),
    ],
)
def test_a_bad_order_is_one_sentence(capsys, script, line, words):
    code, _, err = run(capsys, "needle", "ordinary-adult", "--script", script(line))
    assert code == 2 and words in err and len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [("--grip", "hard", "grip must be one of"), ("--sedation", "gone", "sedation must be one of")],
)
def test_bad_options_are_refused(capsys, script, option, value, words):
    code, _, err = run(capsys, "needle", "ordinary-adult", "--script", script("push 1"), option, value)
    assert code == 2 and words in err


def test_orders_are_read():
    assert str(read_order("  push 2.5 # on", place="here")) == "push 2.5"
    assert read_order("# nothing", place="here") is None
    assert read_order("stylet in", place="here").amount == "in"
