"""Starts the window: display, fonts, log, and what happens when something breaks."""

import faulthandler
import logging
import logging.handlers
import os
import sys
import traceback

from trainer import __version__
from trainer.window.folders import state_folder

LOG, FAULTS = "trainer.log", "faults.log"
LOG_BYTES, LOGS_KEPT = 500_000, 3
HEADLESS = "trainer demo, trainer perform, trainer score, trainer xray, trainer slices"
log = logging.getLogger("trainer")


def display_missing(environment=os.environ, platform=sys.platform):
    """Return whether there is no screen that a window could open on."""
    if environment.get("QT_QPA_PLATFORM"):
        return False
    return platform.startswith("linux") and not (
        environment.get("DISPLAY") or environment.get("WAYLAND_DISPLAY")
    )


def check_display():
    """Raise ValueError, in a sentence for the user, where no window can open.

    Asked before Qt is: Qt itself ends the process when it finds no display.
    """
    if display_missing():
        raise ValueError(
            "a display must be there to open the window, got none: "
            f"start it on a desktop, or work without one, with {HEADLESS}"
        )


def make_application(settings):
    """Return the QApplication, with fonts and text size, made once."""
    from PySide6.QtWidgets import QApplication

    from trainer.window.canvas import style_sheet
    from trainer.window.lettering import load_fonts, use_scale
    from trainer.window.settings import TEXT_SIZES
    from trainer.window.tokens import SCALES

    application = QApplication.instance() or QApplication(sys.argv[:1])
    application.setApplicationName("Lead placement trainer")
    application.setApplicationVersion(__version__)
    load_fonts()
    use_scale(SCALES[TEXT_SIZES.index(settings.text_size)])
    application.setStyleSheet(style_sheet())
    return application


def keep_log():
    """Write the log into the state folder; returns its path."""
    folder = state_folder()
    handler = logging.handlers.RotatingFileHandler(
        folder / LOG, maxBytes=LOG_BYTES, backupCount=LOGS_KEPT, encoding="utf-8"
    )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.info("start of version %s", __version__)
    return folder / LOG


def keep_faults():
    """Write the trace of a hard crash into the state folder; returns the open file, which must stay open."""
    file = open(state_folder() / FAULTS, "a", encoding="utf-8")  # noqa: SIM115
    faulthandler.enable(file)
    return file


def catch_errors(tell):
    """Send errors that nobody caught to the log and to `tell(sentence)`, once at a time."""
    telling = []

    def hook(kind, error, trace):
        if issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, error, trace)
            return
        log.error("%s", "".join(traceback.format_exception(kind, error, trace)))
        if not telling:
            telling.append(True)
            try:
                tell(f"{kind.__name__}: {error}")
            finally:
                telling.clear()

    sys.excepthook = hook


def run(open_first=None, *, warm_up=None):
    """Open the window and stay until it is closed; returns the exit code.

    Parameters
    ----------
    open_first : callable or None
        `open_first(main_window)`, once the window is there: a case to practise, for instance.
    warm_up : callable or None
        See `MainWindow`.

    Raises
    ------
    ValueError
        If there is no display.
    """
    check_display()
    from trainer.window import settings as chosen

    loaded = chosen.load()
    application = make_application(loaded)
    path = keep_log()
    from trainer.window.main_window import MainWindow

    window = MainWindow(loaded, warm_up=warm_up)
    catch_errors(lambda words: window.tell_broken(words, log_path=path))
    window.show()
    if open_first:
        open_first(window)
    with keep_faults():
        return application.exec()
