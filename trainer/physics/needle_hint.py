"""The smallest change of an aim that frees it, found by trying."""

from dataclasses import replace

import numpy as np

from meshes.units import degrees, radians
from trainer.physics.needle import table_lengths
from trainer.physics.needle_trials import Rule, try_aims

STEPS = np.arange(1.0, 13.0)  # [mm] and [degrees]: a millimetre at the skin weighs as much as a degree
SHIFTS = np.arange(-48.0, 49.0, 4.0)  # [mm] of the entry, where one change alone does not help
ANGLES = radians(np.arange(-32.0, 33.0, 4.0))
FLATTEST, STEEPEST = radians(15.0), radians(59.0)
WIDEST = radians(45.0)
PAIRS = ((0, 1), (1, 2), (0, 3))
# Per kind of change: how it moves (entry x toward the side, entry z, approach, medial), and its words.
CHANGES = (
    ((0.0, 1.0, 0.0, 0.0), "enter {:.0f} mm further up"),
    ((0.0, -1.0, 0.0, 0.0), "enter {:.0f} mm further down"),
    ((0.0, 0.0, radians(-1.0), 0.0), "come in {:.0f} degrees flatter"),
    ((0.0, 0.0, radians(1.0), 0.0), "come in {:.0f} degrees steeper"),
    ((1.0, 0.0, 0.0, 0.0), "enter {:.0f} mm further from the midline"),
    ((-1.0, 0.0, 0.0, 0.0), "enter {:.0f} mm nearer to the midline"),
    ((0.0, 0.0, 0.0, radians(1.0)), "turn {:.0f} degrees more toward the midline"),
    ((0.0, 0.0, 0.0, radians(-1.0)), "turn {:.0f} degrees less toward the midline"),
)


def _too_short(check):
    return check.to_epidural is not None and (
        check.to_epidural + check.needle.bevel_length > check.needle.length
    )


def _free(check, moves):
    """Return which moves (n, 4) of the aim would pass, and stay where a needle can be held (n,)."""
    aim, anatomy = check.aim, check.anatomy
    start = np.array([aim.entry_x, aim.entry_z, aim.approach, aim.medial])
    places = start + moves * np.array([aim.sign, 1.0, 1.0, 1.0])
    # A needle that is too short has a reason of its own; the hint is about the way.
    longest = max(check.needle.length, *table_lengths())
    rule = Rule.of(replace(check.needle, length=longest) if _too_short(check) else check.needle)
    trials = try_aims(anatomy, check.interspace, places, sign=aim.sign, rule=rule)
    row = anatomy.tissue.midline(places[:, 1])
    held = (places[:, 2] >= FLATTEST) & (places[:, 2] <= STEEPEST) & (np.abs(places[:, 3]) <= WIDEST)
    return trials.free & held & (aim.sign * (places[:, 0] - row) >= -1e-9)


def _single(check):
    """Return words for up to two single changes that free the aim, the smaller first."""
    moves = np.array([np.outer(STEPS, move) for move, _ in CHANGES])
    free = _free(check, moves.reshape(-1, 4)).reshape(len(CHANGES), len(STEPS))
    sizes = np.where(free.any(axis=1), STEPS[np.argmax(free, axis=1)], np.inf)
    order = np.argsort(sizes, kind="stable")[:2]
    words = [CHANGES[k][1].format(sizes[k]) for k in order if np.isfinite(sizes[k])]
    return [text.replace(" 1 degrees", " 1 degree") for text in words]


def _words(move):
    """Return words for a move (4,) of the aim."""
    out, up, approach, medial = move
    parts = []
    if up or out:
        places = [f"{abs(up):.0f} mm further {'up' if up > 0 else 'down'}"] if up else []
        if out:
            side = "further from" if out > 0 else "nearer to"
            places.append(f"{abs(out):.0f} mm {side} the midline")
        parts.append("enter " + " and ".join(places))
    if approach:
        parts.append(
            f"come in {abs(degrees(approach)):.0f} degrees {'steeper' if approach > 0 else 'flatter'}"
        )
    if medial:
        parts.append(
            f"turn {abs(degrees(medial)):.0f} degrees {'more' if medial > 0 else 'less'} toward the midline"
        )
    return " and ".join(parts)


def _pair(check):
    """Return words for the smallest pair of changes that frees the aim, or nothing."""
    best, words = np.inf, []
    for first, second in PAIRS:
        scales = [SHIFTS if kind < 2 else ANGLES for kind in (first, second)]
        grid = np.meshgrid(*scales, indexing="ij")
        moves = np.zeros((grid[0].size, 4))
        moves[:, first], moves[:, second] = grid[0].ravel(), grid[1].ravel()
        sizes = np.abs(moves) @ np.array([1.0, 1.0, degrees(1.0), degrees(1.0)])
        sizes[~_free(check, moves)] = np.inf
        k = int(np.argmin(sizes))
        if sizes[k] < best:
            best, words = sizes[k], [_words(moves[k])]
    return words


def smallest_hint(check):
    """Return words for the smallest change that frees the aim of a NeedleCheck.

    One change alone of up to 12 mm or degrees; else the smallest of two together: entry along and across
    the back, entry height and approach, entry beside the midline and turn. What is proposed has been
    tried on the anatomy, with the coarse clearances of needle_trials.
    """
    found = _single(check) or _pair(check)
    if found:
        return ", or ".join(found)
    return "no small change frees it, so choose another approach or interspace"
