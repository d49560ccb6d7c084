"""The window without a screen: Qt paints off it, VTK draws through EGL; a user's folders are not touched."""

import os

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import pytest

from trainer.window.lettering import CHOSEN, load_fonts, use_scale
from trainer.window.tokens import SCALES


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    """Settings, journals and logs of each test lie in its own folder."""
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name.lower()))
    monkeypatch.setenv("TRAINER_RECORDS", str(tmp_path / "records.sqlite"))
    return tmp_path


@pytest.fixture
def look(qapp):
    """The program's fonts and style; the scale and the length of words go back afterwards."""
    from trainer.window.canvas import style_sheet

    load_fonts()
    qapp.setStyleSheet(style_sheet())
    CHOSEN.overflows.clear()
    yield CHOSEN
    use_scale(SCALES[0])
    CHOSEN.lengthened = False
    CHOSEN.overflows.clear()


@pytest.fixture(scope="session")
def ready():
    """The ordinary adult, prepared for practice."""
    from scenarios import library
    from trainer.window.prepared import prepared

    return prepared(library.load("ordinary-adult"), mode="practice")


@pytest.fixture(scope="session")
def ready_back(ready):
    """The same for an assessment: the back only."""
    from trainer.window.prepared import prepared_for

    return prepared_for(ready.anatomy, ready.scenario, mode="assessment")
