"""One decorator for every compiled kernel, and a disk cache that can never be stale.

Numba's own cache notices a change in the file of a kernel but not in a kernel that it calls from
another file. So each module keeps its machine code in a folder whose name carries a fingerprint of its
own source and of every source of the program that it imports, however far: an edit anywhere in that
family starts an empty folder, and an edit elsewhere leaves it alone.
"""

import hashlib
import os
import re
import shutil
import sys
import time
from functools import cache
from pathlib import Path

import numba
import platformdirs

APPLICATION = "scs-lead-trainer"
KEEP_FOR_DAYS = 30
ROOT = Path(__file__).resolve().parents[1]
# Read as text: parsing every source would cost each start a tenth of a second.
IMPORTS = re.compile(r"^\s*(?:import ([\w.]+)|from ([\w.]+) import (\([^)]*\)|[^\n]*))", re.MULTILINE)


def kernel_sources():
    """Return the sorted paths of all modules that hold compiled kernels, in all packages."""
    files = [*(ROOT / "meshes").glob("*.py"), *(ROOT / "trainer" / "physics").glob("*.py")]
    return sorted(f for f in files if "\n@kernel" in f.read_text(encoding="utf-8"))


@cache
def imported_sources(file):
    """Return the frozen set of the program's own files that a file imports directly."""
    names = set()
    for whole, package, members in IMPORTS.findall(file.read_text(encoding="utf-8")):
        names.update([whole or package, *(f"{package}.{word}" for word in re.findall(r"\w+", members))])
    paths = (ROOT / f"{name.replace('.', '/')}.py" for name in names)
    return frozenset(path for path in paths if path.is_file())


def family(file):
    """Return the sorted paths of a file and of all the program's files that it rests on."""
    found, waiting = {file}, [file]
    while waiting:
        fresh = imported_sources(waiting.pop()) - found
        found |= fresh
        waiting.extend(fresh)
    return sorted(found)


def fingerprint(files):
    """Return 16 hex digits that change whenever one of the files or the compiler changes."""
    digest = hashlib.sha256(numba.__version__.encode())
    for file in files:
        digest.update(file.name.encode())
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def cache_root():
    """Return the folder for everything that can be computed again."""
    return Path(
        os.environ.get("TRAINER_CACHE_DIR") or platformdirs.user_cache_dir(APPLICATION, appauthor=False)
    )


@cache
def module_folder(file):
    """Return the folder for the machine code of one module, made ready, or None where it cannot be."""
    folder = cache_root() / f"compiled-{file.stem}-{fingerprint(family(file))}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
    except OSError:
        # A read-only home still works: numba then compiles again at every start.
        return None
    remove_old(f"compiled-{file.stem}-*", keep=folder)
    return folder


def compiled_files():
    """Return how many compiled kernels of the present sources lie in the cache."""
    folders = (module_folder(file) for file in kernel_sources())
    return sum(1 for folder in folders if folder for _ in folder.rglob("*.nbi"))


def complete_mark():
    """Return the path of the file that says that every kernel of the present sources is compiled."""
    files = sorted({file for source in kernel_sources() for file in family(source)})
    return cache_root() / f"compiled-all-{fingerprint(files)}"


def remove_old(pattern, *, keep, days=KEEP_FOR_DAYS):
    """Delete folders and files of the cache that nobody has used for `days`; `keep` is spared."""
    limit = time.time() - days * 86400.0
    for path in cache_root().glob(pattern):
        if path == keep or path.stat().st_mtime > limit:
            continue
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def kernel(function=None, *, inline=False):
    """Compile a function of numbers and arrays.

    Floating point operations keep the order in which they are written. The compiler's relaxed arithmetic
    would give other last bits to a kernel compiled afresh than to one read from the cache, and an attempt
    must repeat to the bit; it gains no measurable time here.

    Parameters
    ----------
    inline : bool
        Copy the code into its callers: for the small ones in inner loops.
    """
    if function is None:
        return lambda f: kernel(f, inline=inline)
    folder = module_folder(Path(sys.modules[function.__module__].__file__).resolve())
    if folder:
        # Numba reads this once for each kernel, at this very line.
        numba.config.CACHE_DIR = str(folder)
    return numba.njit(
        function,
        cache=folder is not None,
        nogil=True,
        error_model="numpy",
        inline="always" if inline else "never",
    )
