"""The base of the columns beside the pictures: one for each working phase."""

from PySide6.QtCore import QPoint, Signal
from PySide6.QtWidgets import QMenu, QWidget

from trainer.window import tokens as t
from trainer.window.canvas import column
from trainer.window.controls import Button
from trainer.window.lettering import grid, say
from trainer.window.shortcuts import key_of

# A tap is one step; after this long a held key goes on smoothly. [s]
TAP = 0.28
FINE = 0.25


class MoreButton(Button):
    """Opens a menu of what else can be done; `fill(menu_entries)` is asked each time."""

    def __init__(self, entries, *, key):
        super().__init__("More", key=key)
        self.entries = entries
        self.clicked.connect(self.open)

    def open(self):
        """Open the menu above the button."""
        menu = QMenu(self)
        for words, act in self.entries():
            entry = menu.addAction(say(words))
            entry.triggered.connect(lambda _=False, act=act: act())
        menu.popup(self.mapToGlobal(QPoint(0, -menu.sizeHint().height())))
        self.menu = menu


class PhaseColumn(QWidget):
    """Controls of one phase.

    Subclasses have `names` and `widest` for the reading strip, and may override `tick` and the like.

    Parameters
    ----------
    session : trainer.window.session.Session
    page : str
        The name of the page in the table of keys.
    """

    said = Signal(str)
    names, widest = (), ()

    def __init__(self, session, page, *, left_handed):
        super().__init__()
        self.session, self.page, self.left_handed = session, page, left_handed
        self.setFixedWidth(grid(t.COLUMN))
        self.age = {}
        self.more = MoreButton(self.more_entries, key=self.key("more"))
        self.undo = Button("Undo", key=self.key("undo"), kind="quiet")
        self.undo.clicked.connect(session.undo)
        self.undo.setVisible(session.practice)

    def key(self, action):
        """Return the cap of an action on this page."""
        return key_of(action, self.page, left_handed=self.left_handed)

    def lay(self, *parts, gap=8):
        """Put panels one below the other."""
        self.setLayout(column(*parts, None, gap=gap))

    def do(self, event, *, joined=False):
        """Carry out an event."""
        return self.session.do(event, joined=joined)

    def steps_of(self, action, seconds, *, step, rate):
        """Return how far a held key goes in this tick: a whole step at first, then smoothly, 0 in between.

        Parameters
        ----------
        step : float
            Of a tap.
        rate : float
            Of a held key, a second.
        """
        before = self.age.get(action)
        self.age[action] = 0.0 if before is None else before + seconds
        if before is None:
            return step
        return rate * seconds if self.age[action] > TAP else 0.0

    def let_go(self):
        """All keys are up: a stretch is over."""
        self.age.clear()
        self.session.end_stretch()

    def tick(self, actions, seconds, *, fine):
        """Act for held keys."""

    def act(self, action):
        """Act for the press of a key; returns whether it was one of this column's."""
        del action
        return False

    def show_state(self, old, new):
        """Show a state."""

    def more_entries(self):
        """Return [(words, callable)] of the menu."""
        return []
