"""The one window: which page is shown, long work between pages, and what is told when something breaks."""

from dataclasses import replace

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QMainWindow, QMessageBox, QStackedWidget, QWidget

from scenarios import library
from trainer.attempt.attempt import Attempt
from trainer.attempt.replay import resumed
from trainer.window import settings as stored_settings
from trainer.window.attempt_files import new_journal
from trainer.window.canvas import column, label
from trainer.window.cards import ProgressBar
from trainer.window.cases_page import CasesPage
from trainer.window.controls import Button
from trainer.window.lettering import grid
from trainer.window.session import Session
from trainer.window.settings_page import SettingsPage
from trainer.window.start_page import StartPage
from trainer.window.work import Work

TITLE = "Lead placement trainer"


class WaitPage(QWidget):
    """What is being built, how far it is, and the way to stop it."""

    def __init__(self):
        super().__init__()
        self.setObjectName("ground")
        self.words = label("", role="heading")
        self.bar = ProgressBar()
        self.stop = Button("Stop", key="Esc")
        middle = column(None, self.words, self.bar, self.stop, None, gap=24)
        self.setLayout(column((middle, 1), margin=(grid(200), 32, grid(200), 32)))


class MainWindow(QMainWindow):
    """The window of the program.

    Parameters
    ----------
    settings : trainer.window.settings.Settings
    warm_up : callable, optional
        `warm_up(report)` compiles what is missing before the first attempt.
    """

    def __init__(self, settings, *, warm_up=None):
        super().__init__()
        self.warm_up = warm_up or (lambda report: None)
        self.setWindowTitle(TITLE)
        self.settings, self.work, self.page = settings, None, None
        self.resize(settings.width, settings.height)
        self.setMinimumSize(1024, 640)
        self.stack = QStackedWidget()
        self.stack.setObjectName("ground")
        self.setCentralWidget(self.stack)
        self.wait = WaitPage()
        self.wait.stop.clicked.connect(self.stop_work)
        self.stack.addWidget(self.wait)
        self.show_start()

    def _show(self, page):
        """Show a page and let go of the one before."""
        old, self.page = self.page, page
        if self.stack.indexOf(page) < 0:
            self.stack.addWidget(page)
        self.stack.setCurrentWidget(page)
        page.setFocus()
        if old is not None and old is not page:
            if hasattr(old, "leave"):
                old.leave()
            self.stack.removeWidget(old)
            old.deleteLater()

    def show_start(self):
        page = StartPage()
        page.chosen.connect(self._chosen)
        page.resumed.connect(self.resume)
        page.opened.connect(self.open_debrief)
        self._show(page)

    def _chosen(self, name):
        if name in ("practise", "assess"):
            self.show_cases("practice" if name == "practise" else "assessment")
        elif name == "settings":
            page = SettingsPage(self.settings)
            page.changed.connect(self.apply_settings)
            page.left.connect(self.show_start)
            self._show(page)
        else:
            self.show_keys()

    def show_keys(self, page="start"):
        from trainer.window.key_sheet import KeySheet

        KeySheet(self, page, left_handed=self.settings.left_handed).exec()

    def show_cases(self, mode):
        page = CasesPage()
        page.show_mode(mode)
        page.begun.connect(self.begin_named)
        page.left.connect(self.show_start)
        self._show(page)

    def begin_named(self, name, mode):
        self.begin(library.load(name), mode)

    def begin(self, scenario, mode, *, seed=None):
        """Build a case's anatomy and open its attempt."""
        from trainer.window.attempt_page import prepared

        def build(progress):
            self.warm_up(progress)
            return prepared(scenario, mode=mode, seed=seed, progress=progress)

        self._wait_for(f"Building: {scenario.title}", build, lambda ready: self._open(ready, mode))

    def _open(self, ready, mode):
        scenario, seed = ready.scenario, ready.seed
        journal, path = new_journal(scenario, seed=seed, mode=mode)
        attempt = Attempt(scenario, seed=seed, mode=mode, anatomy=ready.anatomy, journal=journal)
        self._show_attempt(Session(attempt, journal_path=path), ready)

    def resume(self, path):
        """Go on with an attempt where its journal broke off."""
        from trainer.window.attempt_page import prepared_for

        def build(progress):
            attempt, replayed, record = resumed(path, progress=progress)
            return attempt, replayed, record, prepared_for(attempt.anatomy, attempt.scenario, attempt.seed)

        self._wait_for("Going on where it stopped", build, lambda found: self._resumed(path, *found))

    def _resumed(self, path, attempt, replayed, record, ready):
        if attempt.state.phase == "debrief":
            attempt.journal.close()
            self.open_debrief(path)
            return
        stamps = [entry.stamp for entry in record.entries if entry.stamp is not None]
        session = Session(attempt, journal_path=path, elapsed=stamps[-1] if stamps else 0.0)
        page = self._show_attempt(session, ready)
        told = [record.dropped] if record.dropped else []
        if not replayed.identical:
            told.append("This program's version gives other numbers than when the attempt was recorded.")
        page.say(" ".join(told))

    def _show_attempt(self, session, ready):
        from trainer.window.attempt_page import AttemptPage

        page = AttemptPage(session, ready, left_handed=self.settings.left_handed, tone=self.settings.tone)
        page.left.connect(self.show_start)
        page.finished.connect(self.open_debrief)
        page.keys_wanted.connect(self.show_keys)
        self._show(page)
        return page

    def open_debrief(self, path):
        """Open the debrief of a finished attempt's journal."""
        from trainer.window.debrief_page import DebriefPage, debriefed

        person = self.settings.code

        def show(found):
            page = DebriefPage(found, left_handed=self.settings.left_handed)
            page.left.connect(self.show_start)
            page.again.connect(lambda scenario, mode: self.begin(scenario, mode))
            page.step_again.connect(self.practise_from)
            self._show(page)

        def judge(progress):
            return debriefed(path, progress, person=person)

        self._wait_for("Looking at what happened", judge, show)

    def practise_from(self, scenario, seed, events):
        """Open a practice attempt that stands where another one stood after some events."""
        from trainer.window.attempt_page import prepared

        def build(progress):
            ready = prepared(scenario, mode="practice", seed=seed, progress=progress)
            journal, path = new_journal(scenario, seed=seed, mode="practice")
            attempt = Attempt(scenario, seed=seed, mode="practice", anatomy=ready.anatomy, journal=journal)
            for number, event in enumerate(events):
                attempt.do(event, stamp=0.0)
                progress(number + 1, len(events), "going to the moment")
            return ready, Session(attempt, journal_path=path)

        self._wait_for("Going to that moment", build, lambda found: self._show_attempt(found[1], found[0]))

    def _wait_for(self, words, task, then):
        """Run long work on the wait page; `then(result)` when it is done."""
        before = self.page
        self.wait.words.show_text(words)
        self.wait.bar.show_progress(0, 1, "")
        self.stack.setCurrentWidget(self.wait)
        self.wait.setFocus()
        self.work = Work(task)
        self.work.signals.advanced.connect(self.wait.bar.show_progress)
        self.work.signals.done.connect(lambda result: self._done(then, result))
        self.work.signals.failed.connect(self._failed)
        self.work.signals.stopped.connect(lambda: self._back_to(before))
        self.work.start()

    def _done(self, then, result):
        self.work = None
        then(result)

    def _failed(self, error):
        self.work = None
        self.show_start()
        if isinstance(error, ValueError | OSError):
            self.tell(" ".join(str(error).split()))
        else:
            raise error

    def _back_to(self, page):
        self.work = None
        if page is not None:
            self.stack.setCurrentWidget(page)

    def stop_work(self):
        """Stop what is being built."""
        if self.work is not None:
            self.work.stop()

    def apply_settings(self, settings):
        """Keep the user's choices; text size counts from the next start of the program."""
        self.settings = settings
        self.store_settings()

    def store_settings(self):
        try:
            stored_settings.store(self.settings)
        except OSError as error:
            self.tell(f"The choices could not be kept: {error.strerror}. They hold until the window closes.")

    def tell(self, sentence):
        """Tell a sentence in a dialog."""
        box = QMessageBox(self)
        box.setWindowTitle(TITLE)
        box.setText(sentence)
        box.setTextFormat(Qt.TextFormat.PlainText)
        box.open()
        return box

    def tell_broken(self, words, *, log_path):
        """Tell that something broke, where the journal and the log lie, and that the attempt can go on."""
        session = getattr(self.page, "session", None)
        kept = f"\n\nThe attempt is kept: {session.journal_path}" if session else ""
        self.tell(f"Something broke inside the program ({words}).{kept}\n\nLog: {log_path}")

    def keyPressEvent(self, event):
        if event.key() == Qt.Key.Key_Escape and self.work is not None:
            self.stop_work()
        elif event.key() == Qt.Key.Key_F1:
            self.show_keys()
        else:
            super().keyPressEvent(event)

    def closeEvent(self, event):
        self.stop_work()
        if hasattr(self.page, "leave"):
            self.page.leave()
        self.settings = replace(self.settings, width=self.width(), height=self.height())
        self.store_settings()
        super().closeEvent(event)
