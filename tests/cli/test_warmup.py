"""The first start: compiles once, says what failed, and leaves nothing running."""

import subprocess
import sys

import pytest

from trainer.commands import warmup


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(warmup, "complete_mark", lambda: tmp_path / "complete")
    return tmp_path


def parts(monkeypatch, script):
    """Let every part run a script instead of compiling."""
    real = subprocess.Popen
    started = []

    def start(command, **keywords):
        started.append(real([sys.executable, "-c", script, command[-1]], **keywords))
        return started[-1]

    monkeypatch.setattr(warmup.subprocess, "Popen", start)
    return started


def test_both_parts_run_once_and_are_remembered(folder, monkeypatch):
    started = parts(monkeypatch, "import sys; assert sys.argv[1] in ('geometry', 'instruments')")
    assert not warmup.is_warm()
    warmup.warm_up()
    assert len(started) == 2
    assert warmup.is_warm()
    warmup.warm_up()
    assert len(started) == 2


def test_a_part_that_fails_is_told_in_its_own_words(folder, monkeypatch):
    parts(monkeypatch, "import sys; sys.exit('disk full' if sys.argv[1] == 'geometry' else 0)")
    with pytest.raises(
        warmup.WarmUpError, match="geometry kernels must compile .* got 'disk full': see that"
    ):
        warmup.warm_up()
    assert not warmup.is_warm()


def test_an_interruption_leaves_nothing_running(folder, monkeypatch):
    started = parts(monkeypatch, "import time; time.sleep(60)")

    def interrupted(seconds):
        raise KeyboardInterrupt

    monkeypatch.setattr(warmup.time, "sleep", interrupted)
    with pytest.raises(KeyboardInterrupt):
        warmup.warm_up()
    assert all(process.returncode is not None for process in started)


def test_the_parts_use_the_packages_of_this_process(folder, monkeypatch, tmp_path):
    """Another copy in the present folder would compile for itself and leave this one cold."""
    copy = tmp_path / "trainer"
    copy.mkdir()
    (copy / "__init__.py").write_text("raise RuntimeError('the copy in the present folder')")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(warmup, "PARTS", ("nothing",))
    # The part does not exist: this process's module says so, the copy would say something else.
    with pytest.raises(warmup.WarmUpError, match="KeyError: 'nothing'"):
        warmup.warm_up()


MISSED = """
import sys
from numba.core.dispatcher import Dispatcher
from trainer.commands import warmup

def ready():
    modules = [m for name, m in sys.modules.items() if name.startswith(("meshes.", "trainer.physics."))]
    kernels = {k for m in modules for k in vars(m).values() if isinstance(k, Dispatcher)}
    return {(k.py_func.__module__, k.py_func.__name__, str(s)) for k in kernels for s in k.signatures}

warmup.geometry()
warmup.instruments()
before = ready()
from scenarios import library
from trainer.attempt.attempt import Attempt
from trainer.attempt.performer import perform
from trainer.records.report import report_text
attempt = Attempt(library.load("ordinary-adult"))
perform(attempt)
report_text(attempt)
assert len(before) > 15, before
print(sorted(ready() - before))
"""


def test_nothing_is_left_to_compile_in_a_whole_attempt():
    run = subprocess.run([sys.executable, "-c", MISSED], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip() == "[]"
