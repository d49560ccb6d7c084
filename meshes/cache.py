"""Arrays on disk that can be computed again: safe against crashes, corruption and a second writer."""

import hashlib
import os
import tempfile
import zipfile
from contextlib import suppress
from functools import cache
from pathlib import Path

import numpy as np

from meshes.compiled import cache_root

# Of each kind; a set of bones takes about 26 MB, the soft parts of a body 4 MB.
MOST_ENTRIES = 24


@cache
def code_version():
    """Return a fingerprint of everything in `meshes/` that shapes can depend on."""
    folder = Path(__file__).resolve().parent
    digest = hashlib.sha256(np.__version__.encode())
    for file in sorted([*folder.glob("*.py"), *(folder / "tables").glob("*")]):
        if file.is_file():
            digest.update(file.name.encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def entry(kind, *facts):
    """Return the path that belongs to these facts and to the present code."""
    digest = hashlib.sha256(repr((kind, code_version(), facts)).encode()).hexdigest()[:24]
    return cache_root() / f"{kind}-{digest}.npz"


def load(path):
    """Return {name: array}, or None where nothing usable lies there; a damaged file is removed."""
    try:
        with open(path, "rb") as handle, np.load(handle, allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
    except FileNotFoundError:
        return None
    except (OSError, ValueError, EOFError, zipfile.BadZipFile, KeyError):
        with suppress(OSError):
            path.unlink(missing_ok=True)
        return None
    # Marks the entry as used; a read-only folder may refuse, and nothing is lost.
    with suppress(OSError):
        os.utime(path)
    return arrays


def store(path, arrays):
    """Write arrays under their final name in one step; return whether it could be written.

    Two processes may write the same entry at once: each writes its own file, the last rename wins,
    and both hold the same numbers. The entries used longest ago make room.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.stem, suffix=".part")
    except OSError:
        return False
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez(file, **arrays)
        os.replace(name, path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        return False
    _make_room(path)
    return True


def _make_room(newest):
    """Delete what was used longest ago among the entries of the same kind."""

    def used(path):
        # Another process may have removed it meanwhile.
        with suppress(OSError):
            return path.stat().st_mtime
        return 0.0

    kind = newest.stem.rpartition("-")[0]
    of_kind = (path for path in newest.parent.glob("*.npz") if path.stem.rpartition("-")[0] == kind)
    for path in sorted(of_kind, key=used)[:-MOST_ENTRIES]:
        with suppress(OSError):
            path.unlink()
