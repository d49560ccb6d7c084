"""Measures a fault that one pairing of the Qt binding with the interpreter has had.

Such a pairing gives back one reference to None too many at every call without a result; a painted window then
ends the interpreter within seconds. pyproject.toml pins a sound pairing; a test measures it.
"""

import sys


def lost_references(call, *, times=50):
    """Return how many references to None are lost by so many calls of `call`."""
    before = sys.getrefcount(None)
    for _ in range(times):
        call()
    return before - sys.getrefcount(None)
