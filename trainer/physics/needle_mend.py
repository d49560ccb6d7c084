"""The smallest change of an aim that mends it: found among whole millimetres and degrees, then certified.

The measure: a millimetre at the skin, along or across the back, weighs as much as a degree of approach or
medial turn; their sizes are added, so that one change is preferred to several. Another needle counts as 5.
"""

from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from meshes.tables.loader import number
from meshes.units import radians
from trainer.physics.needle import Needle, NeedleAim, table_lengths
from trainer.physics.needle_trials import Rule, try_aims

OTHER_NEEDLE = 5.0
# Shells of the search: step of the lattice [mm, deg], and the smallest and largest sizes looked at.
SHELLS = ((1, 0, 6), (1, 6, 12), (1, 12, 18), (2, 18, 36), (4, 36, 80), (8, 80, 176))
CERTIFIED = 40  # candidates of a shell that the full check is asked about
SLACK = 0.25  # [mm] by which the coarse trials may be too strict about bone
FLATTEST, STEEPEST, WIDEST = radians(15.0), radians(59.0), radians(45.0)
SINGLES = 12  # [mm, deg] the largest single change told beside the smallest
# Kinds of change: out from the midline, up the back, steeper, more toward the midline.
OUT, UP, STEEPER, INWARD = range(4)
UNITS = np.array([1.0, 1.0, radians(1.0), radians(1.0)])


@dataclass(frozen=True)
class Mend:
    """A change of an aim after which the full check has no failure and the shaft keeps its distance.

    Parameters
    ----------
    aim, needle : NeedleAim, Needle
        As changed.
    moves : tuple of 4 int
        Out from the midline and up the back [mm]; steeper and more toward the midline [whole degrees].
    other_needle : bool
    """

    aim: NeedleAim
    needle: Needle
    moves: tuple
    other_needle: bool = False

    @property
    def size(self):
        """Sum of millimetres and degrees; another needle counts as 5."""
        return float(sum(abs(move) for move in self.moves)) + OTHER_NEEDLE * self.other_needle

    @cached_property
    def words(self):
        """ "enter 6 mm further up and come in 3 degrees flatter"."""
        out, up, steeper, inward = self.moves
        places = [f"{abs(up)} mm further {'up' if up > 0 else 'down'}"] if up else []
        if out:
            places.append(f"{abs(out)} mm {'further from' if out > 0 else 'nearer to'} the midline")
        parts = ["enter " + " and ".join(places)] if places else []
        if steeper:
            parts.append(f"come in {_degrees(steeper)} {'steeper' if steeper > 0 else 'flatter'}")
        if inward:
            parts.append(f"turn {_degrees(inward)} {'more' if inward > 0 else 'less'} toward the midline")
        if self.other_needle:
            parts.append(f"take the {self.needle.length:g} mm needle")
        return " and ".join(parts)


def _degrees(count):
    return f"{abs(count)} degree{'' if abs(count) == 1 else 's'}"


@cache
def _shell(step, smallest, largest):
    """Return moves (n, 4) on a lattice whose absolute sum lies above `smallest`, up to `largest`; rising.

    Of equal sizes those with fewer kinds of change come first.
    """
    line = np.arange(-largest // step, largest // step + 1)
    pairs = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2)
    pairs = pairs[np.abs(pairs).sum(axis=1) <= largest // step]
    weight = np.abs(pairs).sum(axis=1)
    first, second = np.nonzero(weight[:, None] + weight[None] <= largest // step)
    moves = step * np.hstack([pairs[first], pairs[second]])
    size = np.abs(moves).sum(axis=1)
    keep = size > smallest if smallest else size >= 0
    moves, size = moves[keep], size[keep]
    order = np.lexsort((*np.abs(moves).T, np.count_nonzero(moves, axis=1), size))
    found = moves[order]
    found.flags.writeable = False
    return found


def _places(aim, moves):
    """Return places (n, 4) of an aim after moves (n, 4)."""
    start = np.array([aim.entry_x, aim.entry_z, aim.approach, aim.medial])
    return start + moves * UNITS * np.array([aim.sign, 1.0, 1.0, 1.0])


def _holdable(check, places):
    """Return which places (n, 4) a needle can be held at, on its own side of the midline."""
    sign = check.aim.sign
    row = check.anatomy.tissue.midline(places[:, 1])
    return (
        (places[:, 2] >= FLATTEST)
        & (places[:, 2] <= STEEPEST)
        & (np.abs(places[:, 3]) <= WIDEST)
        & (sign * (places[:, 0] - row) >= -1e-9)
    )


def _candidates(check, moves, needle):
    """Return those of moves (n, 4), in their order, that the coarse trials let through."""
    places = _places(check.aim, moves)
    held = _holdable(check, places)
    moves, places = moves[held], places[held]
    exact = Rule.of(needle)
    rule = replace(
        exact,
        margin=exact.margin - SLACK,
        travel=exact.travel - 2.0 * SLACK,
        offset=exact.offset + 2.0 * SLACK,
    )
    ask = {"sign": check.aim.sign, "rule": rule, "whole_flavum": True}
    free = try_aims(check.anatomy, check.interspace, places, **ask).free
    return moves[free]


def _certified(check, move, needle):
    """Return the Mend of a move (4,) if the full check has nothing against it, else None."""
    from trainer.physics.needle_check import check_needle

    aim = check.aim
    place = _places(aim, move[None])[0]
    aim = replace(
        aim,
        entry_x=float(place[0]),
        entry_z=float(place[1]),
        approach=float(place[2]),
        medial=float(place[3]),
    )
    found = check_needle(check.anatomy, aim, needle, interspace=check.interspace)
    if not found.passes or found.least_clearance < number("needle", "least_clearance"):
        return None
    other = needle.length != check.needle.length
    if other:
        # The shortest that is long enough.
        needed = found.to_epidural + needle.bevel_length
        needle = replace(needle, length=min(mm for mm in (*table_lengths(), needle.length) if mm >= needed))
        other = needle.length != check.needle.length
    return Mend(aim, needle, tuple(int(m) for m in move), other)


def _search(check, needle, largest):
    """Return the smallest Mend with this needle of a size up to `largest`, or None."""
    for step, low, high in SHELLS:
        if low > largest:
            return None
        moves = _shell(step, low, high)
        for move in _candidates(check, moves, needle)[:CERTIFIED]:
            if np.abs(move).sum() > largest:
                return None
            if (mend := _certified(check, move, needle)) is not None:
                return mend
    return None


def smallest_mend(check):
    """Return the Mend of a NeedleCheck that fails, or None where no change within reach mends it.

    Smallest by this module's measure among whole millimetres and degrees (steps of 2 from size 18, of 4
    from 36, of 8 from 80 on) that the coarse trials let through; what is returned has passed check_needle
    and keeps the table's clearance.
    """
    mend = _search(check, check.needle, SHELLS[-1][2])
    longest = replace(check.needle, length=max(check.needle.length, *table_lengths()))
    if longest.length > check.needle.length:
        room = (mend.size if mend else SHELLS[-1][2]) - OTHER_NEEDLE
        longer = _search(check, longest, room) if room >= 0.0 else None
        mend = longer if longer is not None and (mend is None or longer.size < mend.size) else mend
    return mend


def single_mends(check):
    """Return Mends by one change alone, the smallest of each kind up to 12 mm or degrees, rising in size."""
    found = []
    longer = [mm for mm in table_lengths() if mm > check.needle.length]
    if check.to_epidural is not None and longer:
        needed = check.to_epidural + check.needle.bevel_length
        lengths = [mm for mm in longer if mm >= needed]
        if lengths and needed > check.needle.length:
            found.append(_certified(check, np.zeros(4, int), replace(check.needle, length=lengths[0])))
    kinds = [(axis, sign) for axis in (UP, STEEPER, OUT, INWARD) for sign in (1, -1)]
    for axis, sign in kinds:
        moves = np.zeros((SINGLES, 4), int)
        moves[:, axis] = sign * np.arange(1, SINGLES + 1)
        tried = (
            _certified(check, move, check.needle) for move in _candidates(check, moves, check.needle)[:3]
        )
        found.append(next((mend for mend in tried if mend is not None), None))
    return sorted((mend for mend in found if mend is not None), key=lambda mend: mend.size)


def mend_words(check):
    """Return words for the smallest change that mends a failing check, and for one other single change."""
    if check.mend is None:
        return "no small change frees it, so choose another approach or interspace"
    texts = [check.mend.words]
    texts += [mend.words for mend in single_mends(check) if mend.words != texts[0]][:1]
    return ", or ".join(texts)
