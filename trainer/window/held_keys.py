"""Keys that act while they are down: a set of held keys, a steady tick, nothing left over on release."""

from PySide6.QtCore import QElapsedTimer, QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtWidgets import QApplication, QLineEdit, QPlainTextEdit

from trainer.window.shortcuts import bindings

TICK_MS = 16
TYPING = (QLineEdit, QPlainTextEdit)


class HeldKeys(QObject):
    """Turns keys of one page into actions.

    `acted(action)` comes once for a press of a plain key; `ticked(actions, seconds, fine)` every 16 ms while
    held ones are down, with the time since the last tick and whether Shift is down; `let_go()` when the last
    is lifted. Auto-repeat is ignored and everything is dropped when the window loses the focus.
    """

    acted = Signal(str)
    ticked = Signal(frozenset, float, bool)
    let_go = Signal()

    def __init__(self, window, page, *, left_handed=False):
        super().__init__(window)
        self.window, self.table = window, bindings(page, left_handed=left_handed)
        self.held = {}
        self.enabled = True
        self.timer = QTimer(self)
        self.timer.setInterval(TICK_MS)
        self.timer.setTimerType(Qt.TimerType.PreciseTimer)
        self.timer.timeout.connect(self._tick)
        self.clock = QElapsedTimer()
        QApplication.instance().installEventFilter(self)

    def hold(self, action, held):
        """Hold or let go an action as a pressed button does."""
        if held:
            self._press(("button", action), action)
        else:
            self._lift(("button", action))

    def drop(self):
        """Let go of everything."""
        if self.held:
            self.held.clear()
            self.timer.stop()
            self.let_go.emit()

    def eventFilter(self, watched, event):
        kind = event.type()
        if kind in (QEvent.Type.WindowDeactivate, QEvent.Type.ApplicationDeactivate):
            self.drop()
        if kind not in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease):
            return False
        # The window's own copy of the event comes first; only that for the widget counts.
        if not watched.isWidgetType() or not self.enabled or not self._mine(watched):
            return False
        shortcut = self.table.get(event.key())
        if event.key() == Qt.Key.Key_Enter:
            shortcut = self.table.get(Qt.Key.Key_Return)
        modified = event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier)
        if shortcut is None or modified or self._belongs_to(watched, event.key()):
            return False
        if event.isAutoRepeat():
            return True
        if kind == QEvent.Type.KeyRelease:
            self._lift(event.key())
        elif shortcut.held:
            self._press(event.key(), shortcut.action)
        else:
            self.acted.emit(shortcut.action)
        return True

    def _mine(self, watched):
        return watched.window() is self.window.window() and self.window.isVisible()

    def _belongs_to(self, watched, key):
        """Tell whether the focused control needs the key itself: typing, and Enter on a button."""
        if isinstance(watched, TYPING) and key != Qt.Key.Key_Escape:
            return True
        from trainer.window.controls import Pressable

        return isinstance(watched, Pressable) and key in (Qt.Key.Key_Return, Qt.Key.Key_Enter)

    def _press(self, source, action):
        first = not self.held
        self.held[source] = action
        if first:
            self.clock.restart()
            self.timer.start()
        self.ticked.emit(frozenset(self.held.values()), TICK_MS / 1000.0, self._fine())

    def _lift(self, source):
        if self.held.pop(source, None) is not None and not self.held:
            self.timer.stop()
            self.let_go.emit()

    def _tick(self):
        seconds = self.clock.restart() / 1000.0
        if self.held:
            self.ticked.emit(frozenset(self.held.values()), seconds, self._fine())

    @staticmethod
    def _fine():
        return bool(QApplication.keyboardModifiers() & Qt.KeyboardModifier.ShiftModifier)
