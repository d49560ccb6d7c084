"""Fonts, the text scale, and the one door through which every word reaches the screen."""

from functools import cache
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QFont, QFontDatabase, QFontMetricsF

from trainer.window.tokens import GRID, SCALES, TYPE

FONTS = Path(__file__).parent / "fonts"
LENGTHENED_BY = 0.3
_FILLER = "eaonirt lsueaon irtlsea onirtls ueaonirt "


class Lettering:
    """What the user chose: one for the whole program, set before widgets are made.

    `overflows` collects (text, needed, available) of every text that was painted into too small a box, so
    that a test can ask for none.
    """

    def __init__(self):
        self.scale = SCALES[0]
        self.family = "sans-serif"
        self.lengthened = False
        self.overflows = []


CHOSEN = Lettering()


def load_fonts():
    """Register the fonts of the program with Qt; the system's own serves where that fails."""
    for file in sorted(FONTS.glob("*.otf")):
        families = QFontDatabase.applicationFontFamilies(QFontDatabase.addApplicationFont(str(file)))
        if families:
            CHOSEN.family = families[0]


def use_scale(scale):
    """Set the text scale for everything that is made from now on.

    Raises
    ------
    ValueError
        If the scale is not offered.
    """
    if not any(abs(scale - offered) < 1e-6 for offered in SCALES):
        offered = ", ".join(f"{s:.3g}" for s in SCALES)
        raise ValueError(f"scale must be one of {offered}, got {scale:g}: choose one of these")
    CHOSEN.scale = scale


def grid(pixels):
    """Return a length at the chosen scale, on the grid: 8 px at scale 1, half steps at others."""
    step = GRID if CHOSEN.scale == 1.0 else GRID // 2
    return max(step, round(pixels * CHOSEN.scale / step) * step)


def font(role="text", *, weight=None):
    """Return the QFont of a role at the chosen scale."""
    return _made(role, weight, CHOSEN.scale, CHOSEN.family)


@cache
def _made(role, weight, scale, family):
    size, usual = TYPE[role]
    made = QFont(family)
    made.setPixelSize(round(size * scale))
    made.setWeight(QFont.Weight(weight or usual))
    # Figures of one width: readings do not jitter.
    made.setFeature(QFont.Tag("tnum"), 1)
    made.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
    return made


def say(text):
    """Return the words to show: the place for a translation, and for the test with longer words."""
    if not CHOSEN.lengthened or not text:
        return text
    extra = max(1, round(LENGTHENED_BY * len(text)))
    # A long text grows by words, so that it can still break into lines.
    return text + (_FILLER.replace(" ", "")[:extra] if extra <= 10 else " " + (_FILLER * 20)[: extra - 1])


def text_width(text, role="text", *, weight=None):
    """Return the width of a line of text. [px]"""
    return QFontMetricsF(font(role, weight=weight)).horizontalAdvance(text)


def shortened(name, width, *, role="text"):
    """Cut a name that a user gave, never one of our own words, to the room there is."""
    return QFontMetricsF(font(role)).elidedText(name, Qt.TextElideMode.ElideRight, width)
