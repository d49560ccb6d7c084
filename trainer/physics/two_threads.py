"""Work over the parts of a range in two threads that stay: compiled kernels let go of the interpreter."""

from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

THREADS = 2


@lru_cache(maxsize=1)
def _pool():
    return ThreadPoolExecutor(THREADS, thread_name_prefix="kernels")


def in_parts(work, size, *, parts=THREADS):
    """Return [work(first, last), ...] over equal parts of range(size)."""
    edges = [size * k // parts for k in range(parts + 1)]
    return list(_pool().map(work, edges[:-1], edges[1:]))
