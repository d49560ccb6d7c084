"""One table of keys: nothing clashes, every key exists, README carries it."""

from pathlib import Path

import pytest
from PySide6.QtCore import Qt

from trainer.window.shortcuts import (
    EVERYWHERE,
    SHORTCUTS,
    Shortcut,
    as_table,
    bindings,
    clashes,
    key_code,
    key_of,
)

README = Path(__file__).resolve().parents[2] / "README.md"


@pytest.mark.parametrize("left_handed", [False, True])
def test_no_key_does_two_things_on_a_page(left_handed):
    assert clashes(left_handed=left_handed) == []


def test_a_clash_would_be_seen(monkeypatch):
    double = Shortcut("another", "up", "W", "Words", ("needle",))
    monkeypatch.setattr("trainer.window.shortcuts.SHORTCUTS", (*SHORTCUTS, double))
    assert ("needle", "up", ("advance", "another")) in clashes()


@pytest.mark.parametrize("page", EVERYWHERE)
@pytest.mark.parametrize("left_handed", [False, True])
def test_every_action_of_a_page_is_bound(page, left_handed):
    bound = {shortcut.action for shortcut in bindings(page, left_handed=left_handed).values()}
    assert bound == {s.action for s in SHORTCUTS if page in s.pages}
    assert {"keys", "back"} <= bound


def test_caps_are_keys():
    assert key_code("up") == Qt.Key.Key_Up
    assert key_code("A") == Qt.Key.Key_A
    assert key_code("Space") == Qt.Key.Key_Space
    assert key_of("advance", "needle") == "up"
    assert key_of("advance", "needle", left_handed=True) == "W"
    with pytest.raises(KeyError):
        key_of("advance", "plan")


def test_readme_carries_the_table():
    assert as_table() in README.read_text(encoding="utf-8")
