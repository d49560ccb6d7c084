"""Refusals that several acts share. An act that refuses has changed nothing."""

import math


def one_of(name, value, allowed):
    """Raise ValueError unless `value` is among `allowed`."""
    if value not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(allowed)}, got {value!r}: choose one of these")


def inside(name, value, low, high, unit="mm"):
    """Raise ValueError unless `value` lies from `low` to `high`."""
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(
            f"{name} must lie between {low:g} and {high:g} {unit}, got {value:g}: choose a value inside"
        )
