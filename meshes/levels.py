"""The levels of the column that are modelled, head to tail, and the interspaces between them."""

import itertools

LEVELS = ("T6", "T7", "T8", "T9", "T10", "T11", "T12", "L1", "L2", "L3", "L4", "L5")
SACRUM = "S1"
COLUMN = (*LEVELS, SACRUM)
INTERSPACES = tuple(f"{upper}-{lower}" for upper, lower in itertools.pairwise(COLUMN))


def check_level(level):
    """Return `level` in its canonical spelling, or raise ValueError naming what is allowed."""
    name = str(level).strip().upper()
    if name not in COLUMN:
        raise ValueError(f"level must be one of {', '.join(COLUMN)}, got {level!r}: name a modelled level")
    return name


def check_interspace(interspace):
    """Return `interspace` as 'T12-L1', or raise ValueError naming what is allowed.

    An en dash or a slash between the levels is accepted.
    """
    name = str(interspace).strip().upper().replace("–", "-").replace("/", "-")
    if name not in INTERSPACES:
        raise ValueError(
            f"interspace must be one of {', '.join(INTERSPACES)}, got {interspace!r}: "
            "name two neighbouring levels, the upper one first"
        )
    return name


def split_interspace(interspace):
    """Return (upper, lower) of an interspace name."""
    upper, lower = check_interspace(interspace).split("-")
    return upper, lower


def is_lumbar(level):
    return level.startswith("L")


def level_below(level):
    return COLUMN[COLUMN.index(level) + 1]
