"""One decorator for every compiled kernel, and a disk cache that can never be stale.

Numba's own cache notices a change in the file of a kernel but not in a kernel that it calls from
another file. So the folder of the cache carries a fingerprint of all kernel sources of the program:
an edit anywhere starts an empty folder.
"""

import hashlib
import os
import shutil
import time
from pathlib import Path

import numba
import platformdirs

APPLICATION = "scs-lead-trainer"
KEEP_FOR_DAYS = 30


def kernel_sources():
    """Return the sorted paths of all modules that hold compiled kernels, in all packages."""
    root = Path(__file__).resolve().parents[1]
    files = [*(root / "meshes").glob("*.py"), *(root / "trainer" / "physics").glob("*.py")]
    return sorted(f for f in files if "@kernel" in f.read_text(encoding="utf-8"))


def fingerprint(files=None):
    """Return 16 hex digits that change whenever a kernel source or the compiler changes."""
    digest = hashlib.sha256(numba.__version__.encode())
    for file in files if files is not None else kernel_sources():
        digest.update(file.name.encode())
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def cache_root():
    """Return the folder for everything that can be computed again."""
    return Path(
        os.environ.get("TRAINER_CACHE_DIR") or platformdirs.user_cache_dir(APPLICATION, appauthor=False)
    )


def compiled_folder():
    """Return the folder of machine code that belongs to the present sources."""
    return cache_root() / f"compiled-{fingerprint()}"


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


def _prepare():
    folder = compiled_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
    except OSError:
        # A read-only home still works: numba then compiles again at every start.
        return False
    numba.config.CACHE_DIR = str(folder)
    remove_old("compiled-*", keep=folder)
    return True


_CACHED = _prepare()


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
    return numba.njit(
        function,
        cache=_CACHED,
        nogil=True,
        error_model="numpy",
        inline="always" if inline else "never",
    )
