"""Controls by mouse and keyboard; they say what they are to a screen reader."""

import pytest
from PySide6.QtCore import QPoint, Qt

from trainer.window.choices import Choice, Tick
from trainer.window.controls import Button, Segments, Stepper


@pytest.fixture
def shown(qtbot, look):
    def show(widget, wide=280):
        qtbot.addWidget(widget)
        widget.resize(wide, widget.sizeHint().height())
        widget.show()
        return widget

    return show


def test_a_button_is_pressed_by_mouse_and_by_enter(qtbot, shown):
    button = shown(Button("Advance", key="up"))
    with qtbot.waitSignals([button.pressed, button.released, button.clicked]):
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    button.setFocus()
    with qtbot.waitSignal(button.clicked):
        qtbot.keyClick(button, Qt.Key.Key_Return)
    assert (button.accessibleName(), button.accessibleDescription()) == ("Advance", "Key: up")


def test_a_button_that_is_off_does_nothing(qtbot, shown):
    button = shown(Button("Fix the plan", kind="main"))
    button.setEnabled(False)
    with qtbot.assertNotEmitted(button.clicked, wait=30):
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)


def test_leaving_the_button_before_letting_go_does_not_count(qtbot, shown):
    button = shown(Button("Advance"))
    with qtbot.assertNotEmitted(button.clicked, wait=30), qtbot.waitSignal(button.released):
        qtbot.mousePress(button, Qt.MouseButton.LeftButton)
        qtbot.mouseRelease(button, Qt.MouseButton.LeftButton, pos=QPoint(-20, -20))


def test_space_is_left_to_the_page(qtbot, shown):
    button = shown(Button("Advance"))
    button.setFocus()
    with qtbot.assertNotEmitted(button.clicked, wait=30):
        qtbot.keyClick(button, Qt.Key.Key_Space)


def test_segments_choose_one(qtbot, shown):
    segments = shown(Segments("Stylet", ["Curved", "Straight"]))
    with qtbot.waitSignal(segments.chosen_changed) as told:
        qtbot.mouseClick(segments, Qt.MouseButton.LeftButton, pos=QPoint(260, 20))
    assert told.args == [1] and segments.chosen == 1
    qtbot.keyClick(segments, Qt.Key.Key_Left)
    assert segments.chosen == 0
    assert segments.accessibleDescription() == "Curved of Curved, Straight"


def test_a_stepper_steps_both_ways(qtbot, shown):
    stepper = shown(Stepper("Approach", keys=("S", "W"), value="35°"))
    less, more = stepper._sides(stepper.rect().toRectF())
    for side, way in ((less, -1), (more, 1)):
        with qtbot.waitSignal(stepper.stepped) as told:
            qtbot.mouseClick(stepper, Qt.MouseButton.LeftButton, pos=side.center().toPoint())
        assert told.args == [way]
    with qtbot.waitSignal(stepper.stepped) as told:
        qtbot.keyClick(stepper, Qt.Key.Key_Plus)
    assert told.args == [1]


def test_a_tick_turns(qtbot, shown):
    tick = shown(Tick("Consent"))
    with qtbot.waitSignal(tick.toggled) as told:
        qtbot.mouseClick(tick, Qt.MouseButton.LeftButton)
    assert told.args == [True] and tick.accessibleDescription() == "ticked"


def test_a_choice_by_keyboard_and_menu(qtbot, shown):
    choice = shown(Choice("Entry", ["T11-T12", "T12-L1"]), wide=336)
    qtbot.keyClick(choice, Qt.Key.Key_Down)
    assert choice.chosen == "T11-T12"
    with qtbot.waitSignal(choice.chosen_changed) as told:
        qtbot.keyClick(choice, Qt.Key.Key_Down)
    assert told.args == ["T12-L1"]


@pytest.mark.parametrize(
    "make",
    [
        lambda: Button("Withdraw", key="down"),
        lambda: Segments("View", ["Square on", "Side", "Oblique 50°"], chosen=1),
        lambda: Stepper("Approach", keys=("left", "right"), value="36°"),
        lambda: Tick("Blood thinners", note="apixaban, stopped two days ago"),
        lambda: Choice("Needle", ["102 mm"], chosen="102 mm"),
    ],
)
@pytest.mark.parametrize("lengthened", [False, True])
def test_no_word_is_cut(shown, look, make, lengthened):
    """Also with every string 1.3 times as long."""
    look.lengthened = lengthened
    widget = shown(make(), wide=20)
    widget.resize(max(widget.sizeHint().width(), 20), widget.sizeHint().height())
    widget.grab()
    assert look.overflows == []


def test_a_word_that_is_cut_is_noted(shown, look):
    widget = shown(Button("Advance the needle by one millimetre"))
    widget.setMinimumSize(0, 0)
    widget.resize(60, 40)
    widget.grab()
    assert look.overflows
