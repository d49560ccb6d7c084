"""Keys that act while they are down."""

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication, QLineEdit, QVBoxLayout, QWidget

from trainer.window.controls import Button
from trainer.window.held_keys import HeldKeys


@pytest.fixture
def held(qtbot):
    window = QWidget()
    window.field, window.button = QLineEdit(), Button("Through the skin")
    layout = QVBoxLayout(window)
    layout.addWidget(window.field)
    layout.addWidget(window.button)
    qtbot.addWidget(window)
    window.show()
    window.setFocus()
    keys = HeldKeys(window, "needle")
    keys.actions, keys.ticks, keys.ends = [], [], []
    keys.acted.connect(keys.actions.append)
    keys.ticked.connect(lambda actions, seconds, fine: keys.ticks.append((actions, seconds, fine)))
    keys.let_go.connect(lambda: keys.ends.append(True))
    keys.page = window
    return keys


def test_a_held_key_ticks_until_it_is_lifted(qtbot, held):
    qtbot.keyPress(held.page, Qt.Key.Key_Up)
    assert held.ticks[0][0] == {"advance"}
    qtbot.wait(120)
    count = len(held.ticks)
    assert count >= 4
    qtbot.keyRelease(held.page, Qt.Key.Key_Up)
    qtbot.wait(60)
    assert len(held.ticks) == count, "nothing moves after the key is up"
    assert held.ends == [True]


def test_ticks_tell_the_time_that_has_passed(qtbot, held):
    qtbot.keyPress(held.page, Qt.Key.Key_Up)
    qtbot.wait(200)
    qtbot.keyRelease(held.page, Qt.Key.Key_Up)
    assert 0.1 < sum(seconds for _, seconds, _ in held.ticks) < 2.0


def test_auto_repeat_is_ignored(qtbot, held):
    qtbot.keyPress(held.page, Qt.Key.Key_Up)
    for _ in range(3):
        event = QKeyEvent(QEvent.Type.KeyRelease, Qt.Key.Key_Up, Qt.KeyboardModifier.NoModifier, "", True)
        QApplication.sendEvent(held.page, event)
    assert held.held and not held.ends


def test_losing_the_focus_lets_go(qtbot, held):
    qtbot.keyPress(held.page, Qt.Key.Key_Up)
    QApplication.sendEvent(held.page, QEvent(QEvent.Type.WindowDeactivate))
    assert not held.held and held.ends == [True]


def test_two_keys_at_once(qtbot, held):
    qtbot.keyPress(held.page, Qt.Key.Key_Up)
    qtbot.keyPress(held.page, Qt.Key.Key_W)
    qtbot.wait(60)
    assert held.ticks[-1][0] == {"advance", "steeper"}
    qtbot.keyRelease(held.page, Qt.Key.Key_Up)
    assert not held.ends
    qtbot.keyRelease(held.page, Qt.Key.Key_W)
    assert held.ends == [True]


def test_plain_keys_act_once(qtbot, held):
    qtbot.keyClick(held.page, Qt.Key.Key_Space)
    assert held.actions == ["one picture"]


def test_typing_belongs_to_the_field(qtbot, held):
    held.page.field.setFocus()
    qtbot.keyClicks(held.page.field, "c")
    assert held.page.field.text() == "c" and not held.actions


def test_enter_belongs_to_the_focused_button(qtbot, held):
    with qtbot.waitSignal(held.page.button.clicked):
        qtbot.keyClick(held.page.button, Qt.Key.Key_Return)
    assert "next step" not in held.actions


def test_with_control_it_is_another_key(qtbot, held):
    qtbot.keyClick(held.page, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert not held.actions


def test_keys_that_are_off_do_nothing(qtbot, held):
    held.enabled = False
    qtbot.keyClick(held.page, Qt.Key.Key_Space)
    assert not held.actions


def test_a_pressed_button_holds_like_a_key(qtbot, held):
    held.hold("advance", True)
    qtbot.wait(60)
    held.hold("advance", False)
    assert len(held.ticks) >= 2 and held.ends == [True]
