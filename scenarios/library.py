"""The built-in cases, cases in files of the user's own, and cases drawn at random."""

from functools import cache
from pathlib import Path

from scenarios.drawn import PREFIX, drawn_case, seed_of
from scenarios.scenario import from_toml

FOLDER = Path(__file__).with_name("library")


@cache
def names():
    """Return the names of the built-in cases, sorted."""
    return tuple(sorted(file.stem for file in FOLDER.glob("*.toml")))


def load(case):
    """Return the Scenario of a built-in name, of a TOML file, or of a seed like 'draw:17'.

    Raises
    ------
    ValueError
        If there is no such case, or its content is refused.
    OSError
        If the file cannot be read.
    """
    if str(case).startswith(PREFIX):
        return drawn_case(seed_of(str(case)))
    path = _path_of(str(case))
    raw = path.read_bytes()
    try:
        # Some editors put a mark of the encoding in front.
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        byte = raw[error.start : error.start + 1]
        raise ValueError(
            f"{path} line {line}: the file must be UTF-8 text, got the byte {byte!r}: save it as UTF-8"
        ) from None
    return from_toml(text, source=str(case) if case in names() else str(path))


def _path_of(case):
    if case in names():
        return FOLDER / f"{case}.toml"
    path = Path(case)
    if path.is_file():
        return path
    raise ValueError(
        f"case must be one of {', '.join(names())}, {PREFIX}SEED or the path of a TOML file, got {case!r}: "
        "choose one of these or correct the path"
    )
