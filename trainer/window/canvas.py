"""The base of everything painted, and the few layouts the pages are made of."""

import math

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from trainer.window import tokens as t
from trainer.window.lettering import CHOSEN, font, grid, say, text_width
from trainer.window.painting import SMOOTH, colour

FIXED, GROWS = QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding


class Canvas(QWidget):
    """A widget that paints itself in `draw(painter, box)`.

    Parameters
    ----------
    name : str
        What a screen reader says.
    wide, high : int, optional
        Fixed size at the chosen scale; the widget grows where None. [px]
    """

    def __init__(self, name="", *, wide=None, high=None):
        super().__init__()
        self.setAccessibleName(name)
        if wide:
            self.setFixedWidth(wide)
        if high:
            self.setFixedHeight(high)
        self.setSizePolicy(FIXED if wide else GROWS, FIXED if high else GROWS)

    def paintEvent(self, _):  # the name is Qt's
        painter = QPainter(self)
        painter.setRenderHints(SMOOTH)
        self.draw(painter, QRectF(self.rect()))
        painter.end()

    def draw(self, painter, box):
        raise TypeError(f"{type(self).__name__} must paint itself in draw, got none: give it one")


class Rule(Canvas):
    """A hairline between two things."""

    def __init__(self):
        super().__init__(high=1)

    def draw(self, painter, box):
        painter.fillRect(box, colour(t.LINE))


def laid(layout, children, *, gap, margin):
    """Fill a layout: widgets, layouts, (either, stretch), an int for spare pixels, None for a spring."""
    layout.setSpacing(gap)
    layout.setContentsMargins(*(margin if isinstance(margin, tuple) else (margin,) * 4))
    for child in children:
        child, share = child if isinstance(child, tuple) else (child, 0)
        if child is None:
            layout.addStretch(1)
        elif isinstance(child, int):
            layout.addSpacing(child)
        elif isinstance(child, QWidget):
            layout.addWidget(child, share)
        else:
            layout.addLayout(child, share)
    return layout


def row(*children, gap=8, margin=0):
    """Return children side by side."""
    return laid(QHBoxLayout(), children, gap=gap, margin=margin)


def column(*children, gap=8, margin=0):
    """Return children one below the other."""
    return laid(QVBoxLayout(), children, gap=gap, margin=margin)


def panel(*children, title=None, wide=None, high=None, gap=8, margin=16):
    """Return a frame on PANEL ground with children one below the other."""
    frame = QFrame()
    frame.setObjectName("panel")
    heading = (label(title, role="strong", ink=t.MUTED),) if title else ()
    frame.setLayout(column(*heading, *children, gap=gap, margin=margin))
    if title:
        frame.setAccessibleName(title)
    if wide:
        frame.setFixedWidth(wide)
    if high:
        frame.setFixedHeight(high)
    return frame


class Label(QLabel):
    """Words in a role; notes it where a line does not get its room."""

    def __init__(self, text, *, role="text", ink=t.CHALK, wrap=False, weight=None):
        super().__init__(say(text))
        self.role, self.weight = role, weight
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setFont(font(role, weight=weight))
        size, usual = t.TYPE[role]
        self.setStyleSheet(
            f"color: {ink}; font-size: {round(size * CHOSEN.scale)}px; font-weight: {weight or usual};"
        )
        self.setWordWrap(wrap)
        if not wrap:
            self.setSizePolicy(QSizePolicy.Policy.Minimum, FIXED)

    def show_text(self, text):
        """Change the words."""
        if say(text) != self.text():
            self.setText(say(text))

    def paintEvent(self, event):  # the name is Qt's
        needed = self.heightForWidth(self.width()) if self.wordWrap() else self.fontMetrics().height()
        wide = 0 if self.wordWrap() else math.ceil(text_width(self.text(), self.role, weight=self.weight))
        if self.text() and (wide > self.width() + 1 or needed > self.height() + 3):
            CHOSEN.overflows.append((self.text(), (wide, needed), (self.width(), self.height())))
        super().paintEvent(event)


def label(text, **look):
    """Return a Label."""
    return Label(text, **look)


def style_sheet():
    """Return the style of the few stock widgets in use."""
    size = round(t.TYPE["text"][0] * CHOSEN.scale)
    return f"""
    QWidget {{ background: transparent; color: {t.CHALK};
        font-family: "{CHOSEN.family}"; font-size: {size}px; }}
    QMainWindow, QDialog, #ground {{ background: {t.GROUND}; }}
    #panel {{ background: {t.PANEL}; border-radius: {t.RADIUS}px; }}
    QLineEdit, QPlainTextEdit {{ background: {t.GROUND}; border: 1px solid {t.EDGE};
        border-radius: {t.RADIUS}px; padding: 4px 8px; min-height: {grid(32) - 10}px;
        selection-background-color: {t.ACT};
        selection-color: {t.INK}; }}
    QLineEdit:focus, QPlainTextEdit:focus {{ border: 2px solid {t.CHALK}; }}
    QScrollArea {{ border: none; }}
    QScrollBar:vertical {{ background: {t.GROUND}; width: {grid(16)}px; }}
    QScrollBar::handle:vertical {{ background: {t.EDGE}; border-radius: 4px; min-height: {grid(32)}px; }}
    QScrollBar::add-line, QScrollBar::sub-line, QScrollBar::add-page, QScrollBar::sub-page {{ height: 0;
        background: none; }}
    QMenu {{ background: {t.RAISED}; border: 1px solid {t.EDGE}; padding: 4px; }}
    QMenu::item {{ padding: 6px 16px; border-radius: {t.SMALL_RADIUS}px; }}
    QMenu::item:selected {{ background: {t.PRESSED}; }}
    """
