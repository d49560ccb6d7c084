"""What a user may choose once and finds again: text size, hand, tone, sizes of the window."""

import tomllib
from dataclasses import asdict, dataclass, fields

from meshes.whole_files import whole_file
from trainer.records.tables import PSEUDONYM
from trainer.window.folders import config_folder

FILE = "window.toml"
TEXT_SIZES = ("usual", "large", "largest")


@dataclass(frozen=True)
class Settings:
    """Choices of one user on this machine.

    Parameters
    ----------
    text_size : str
        One of `TEXT_SIZES`.
    left_handed : bool
        The mouse lies in the left hand: keys for the right one.
    tone : bool
        Resistance can be heard.
    code : str
        The pseudonym under which attempts go into the record.
    width, height : int
        Of the window when it was closed. [px]
    """

    text_size: str = "usual"
    left_handed: bool = False
    tone: bool = False
    code: str = "trainee"
    width: int = 1366
    height: int = 768


def load():
    """Return the stored Settings; what cannot be read or makes no sense is taken as not chosen."""
    path = config_folder() / FILE
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, tomllib.TOMLDecodeError, UnicodeDecodeError):
        return Settings()
    return Settings(**{f.name: found[f.name] for f in fields(Settings) if _sound(f, found.get(f.name))})


def _sound(field, value):
    if type(value) is not field.type:
        return False
    if field.name == "text_size":
        return value in TEXT_SIZES
    if field.name == "code":
        return bool(PSEUDONYM.fullmatch(value))
    return field.type is not int or 320 <= value <= 16384


def store(settings):
    """Write the Settings; raises OSError where the folder cannot be written."""
    lines = [f"{name} = {_written(value)}" for name, value in asdict(settings).items()]
    with whole_file(config_folder() / FILE) as draft:
        draft.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _written(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else str(value)
