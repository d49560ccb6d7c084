"""A digest of plain and frozen values: any bit of a value's own facts counts, what follows from them not."""

import hashlib
import struct
from dataclasses import fields, is_dataclass
from functools import lru_cache

import numpy as np

# What of a lead is its own; the rest of LeadState follows from it or belongs to the anatomy.
OWN_FACTS = {
    "LeadState": ("shaft", "hub", "fed", "spin", "drag_slip", "push", "side_force", "depth", "converged")
}


def digest_of(named_values):
    """Return 24 hex digits of (name, value) pairs.

    Raises
    ------
    TypeError
        If a value is not plain data; mark its field as derived.
    """
    collected = hashlib.sha256()
    for name, value in named_values:
        collected.update(name.encode())
        _feed(collected, value)
    return collected.hexdigest()[:24]


def _feed(collected, value):
    """Feed a value into a hash so that different values give different bytes."""
    if value is None or isinstance(value, bool | int | str | np.bool_ | np.integer):
        collected.update(f"{type(value).__name__[:4]}:{value};".encode())
    elif isinstance(value, float | np.floating):
        collected.update(b"float:" + struct.pack("<d", value))
    elif isinstance(value, np.ndarray):
        collected.update(f"array:{value.dtype.str}{value.shape};".encode())
        collected.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, tuple | list):
        collected.update(f"list:{len(value)};".encode())
        for item in value:
            _feed(collected, item)
    elif is_dataclass(value):
        _feed(collected, [type(value).__name__, *(getattr(value, name) for name in _own_facts(type(value)))])
    elif hasattr(value, "content"):
        collected.update(_content(value))
    else:
        raise TypeError(f"value must be plain data, got {type(value).__name__}: mark its field as derived")


@lru_cache(maxsize=256)
def _own_facts(kind):
    return OWN_FACTS.get(kind.__name__) or tuple(
        entry.name for entry in fields(kind) if not entry.metadata.get("derived")
    )


@lru_cache(maxsize=64)
def _content(case):
    """Return the bytes of a case; it is the same in every state of an attempt."""
    return repr(case.content()).encode()
