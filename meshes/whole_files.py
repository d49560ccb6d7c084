"""Files that appear whole or not at all."""

import errno
import os
import shutil
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def whole_file(path):
    """Yield a temporary path beside `path`; it takes the final name only if the block succeeds.

    Raises
    ------
    OSError
        At once, before any work, if nothing can be written there.
    """
    path = Path(path)
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    with _draft(path.parent, of=path) as draft:
        yield draft / path.name
        os.replace(draft / path.name, path)


@contextmanager
def whole_folder(folder):
    """Yield a temporary folder whose files move into `folder` together, if the block succeeds.

    A folder that did not exist before is removed again after a failure.

    Raises
    ------
    OSError
        At once, before any work, if nothing can be written there.
    """
    folder = Path(folder)
    made = _make(folder)
    try:
        with _draft(folder, of=folder) as draft:
            yield draft
            _move_all(draft, folder)
    except BaseException:
        # A folder in which somebody else has put something meanwhile is not ours to remove.
        with suppress(OSError):
            for new in reversed(made):
                new.rmdir()
        raise


def _move_all(draft, folder):
    files = sorted(draft.iterdir())
    for file in files:
        if (folder / file.name).is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(folder / file.name))
    for file in files:
        os.replace(file, folder / file.name)


def _make(folder):
    """Create a folder with its parents; return those that did not exist, outermost first."""
    missing = [f for f in [folder, *folder.parents] if not f.exists()][::-1]
    folder.mkdir(parents=True, exist_ok=True)
    return missing


@contextmanager
def _draft(folder, *, of):
    try:
        draft = Path(tempfile.mkdtemp(dir=folder, prefix=".draft-"))
    except OSError as error:
        # The name of the draft means nothing to the person who named the target.
        raise type(error)(error.errno, error.strerror, str(of)) from None
    try:
        yield draft
    finally:
        shutil.rmtree(draft)
