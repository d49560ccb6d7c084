"""Where the program keeps what a person would miss: settings, journals, the log."""

from pathlib import Path

import platformdirs

from meshes.compiled import APPLICATION


def config_folder():
    """Return the folder of the settings, made ready."""
    return _ready(Path(platformdirs.user_config_dir(APPLICATION, appauthor=False)))


def state_folder():
    """Return the folder of the log, made ready."""
    return _ready(Path(platformdirs.user_state_dir(APPLICATION, appauthor=False)))


def attempts_folder():
    """Return the folder of the journals, made ready."""
    return _ready(Path(platformdirs.user_data_dir(APPLICATION, appauthor=False)) / "attempts")


def _ready(folder):
    folder.mkdir(parents=True, exist_ok=True)
    return folder
