"""Where to enter the skin so that a needle, held at given angles, reaches a wanted place."""

from itertools import pairwise

import numpy as np
from scipy.optimize import brentq

from meshes.levels import check_interspace
from trainer.physics.needle import NeedleAim, axis_from_skin, check_angles, side_sign
from trainer.physics.needle_check import check_needle

CLOSE = 1e-8  # [mm]
NEWTON_STEPS, LONGEST_STEP = 25, 20.0  # [mm]
SEARCH_STEP = 4.0  # [mm]
ASTRAY = 1e4  # [mm] an axis nearly along the skin throws the search this far aside
# Where along the flavum the window's own middle is looked for first, lower to upper end.
SHARES = (0.1, 0.3, 0.5, 0.7, 0.9, 1.1)


def epidural_target(anatomy, station, across):
    """Return the point (3,) of the canal's dorsal wall at a station, `across` mm to the left of the midline.

    Raises ValueError if the wall is not that wide.
    """
    canal, theta = anatomy.canal, 0.0
    for _ in range(60):
        radius = float(canal.radii(station, theta)[3])
        if not abs(across) < 0.95 * radius:
            raise ValueError(
                f"target_offset must stay within {0.95 * radius:.1f} mm of the midline, got "
                f"{abs(across):g}: the canal is no wider there"
            )
        following = float(np.arcsin(across / radius))
        if abs(following - theta) * radius < 1e-9:
            break
        theta = following
    return canal.to_world(station, theta, radius).reshape(3)


def entry_for_point(tissue, target, *, sign, approach, medial):
    """Return the skin entry (x, z) whose axis, at these angles to the skin there, passes a point, or None.

    Newton's method on how far the axis passes the point sideways; where a hollow of the back leads it
    astray, a search along the back, the steepest passage first.
    """
    held = sign, approach, medial
    entry = target[[0, 2]]
    for _ in range(3):
        line = _line(tissue, entry, held)
        t = (line[1] - target[1]) / min(line[4], -0.05)
        entry = 0.5 * entry + 0.5 * (target[[0, 2]] + t * line[[3, 5]])
    entry = _newton(lambda place: _miss(tissue, target, place, held), entry)
    if entry is None:
        entry = _search(tissue, target, held)
    low, high = tissue.scale[0], tissue.scale[0] + tissue.scale[1] * (len(tissue.profile) - 1)
    return entry if entry is not None and low < entry[1] < high else None


def _line(tissue, entry, held):
    """Return entry, direction and skin normal (9,) of the axis held at `held` = sign, approach, medial."""
    return np.array(axis_from_skin(tissue.profile, tissue.scale, entry[0], entry[1], *held))


def _miss(tissue, target, entry, held):
    """Return how far the axis from an entry passes the target, in x and z (2,). [mm]"""
    line = _line(tissue, entry, held)
    to_target, direction = target - line[:3], line[3:6]
    return to_target[[0, 2]] - to_target[1] / min(direction[1], -1e-3) * direction[[0, 2]]


def _newton(miss, entry):
    """Return the root (2,) of miss(entry), or None where the method does not find it."""
    e = 1e-3
    for _ in range(NEWTON_STEPS):
        off = miss(entry)
        if np.hypot(*off) < CLOSE:
            return entry
        columns = [(miss(entry + e * axis) - off) / e for axis in np.eye(2)]
        step = -np.linalg.lstsq(np.array(columns).T, off, rcond=None)[0]
        entry = entry + step * min(1.0, LONGEST_STEP / max(float(np.hypot(*step)), 1e-9))
    return None


def _search(tissue, target, held):
    """Return the root (2,) nearest below the target, found by walking down the back, or None."""

    def place(z):
        x = target[0]
        for _ in range(30):
            x += _miss(tissue, target, (x, z), held)[0]
            if not abs(x) < ASTRAY:
                return None
        return np.array([x, z])

    def off(z):
        entry = place(z)
        return np.nan if entry is None else _miss(tissue, target, entry, held)[1]

    heights = np.arange(target[2] + 30.0, tissue.scale[0], -SEARCH_STEP)
    values = [off(z) for z in heights]
    for high, low, above, below in zip(heights[:-1], heights[1:], values[:-1], values[1:]):
        if above * below <= 0.0:
            return place(brentq(off, low, high, xtol=1e-9))
    return None


def aim_at_target(anatomy, interspace, *, side, approach, medial, target_offset=0.0, height=0.5):
    """Return the NeedleAim whose axis, held at these angles to the skin at its entry, passes a target.

    The axis enters the epidural space `target_offset` mm from the midline on the entry side, `height` up
    the window that it passes (0.5: its middle, see NeedleCheck.window_height_fraction). Where the window
    is closed at these angles the axis goes through the middle of the flavum instead; whether a way is
    free is for check_needle to say.

    Parameters
    ----------
    approach, medial : float
        [rad]
    target_offset : float
        Square to the canal, positive toward the entry side. [mm]
    height : float
        0 at the lower lamina, 1 at the upper.

    Raises
    ------
    ValueError
        If no entry on the back leads there at these angles, or an argument is out of range.
    """
    interspace = check_interspace(interspace)
    check_angles(approach, medial)
    if not 0.0 <= height <= 1.0:
        raise ValueError(f"height must lie between 0 and 1, got {height:g}: 0.5 is the middle of the window")
    sign = side_sign(side)
    space = anatomy.canal.interspace(interspace)

    def at(share):
        station = space.flavum_caudal + share * (space.flavum_cranial - space.flavum_caudal)
        target = epidural_target(anatomy, station, sign * target_offset)
        entry = entry_for_point(anatomy.tissue, target, sign=sign, approach=approach, medial=medial)
        if entry is None:
            return None, None
        aim = NeedleAim(interspace, float(entry[0]), float(entry[1]), approach, medial, side)
        return aim, check_needle(anatomy, aim).window_height_fraction

    tried = [(share, *at(share)) for share in SHARES]
    if all(aim is None for _, aim, _ in tried):
        raise ValueError(
            f"approach must let the needle reach {interspace} from the modelled back, got an entry that "
            "does not exist: come in steeper or turn less toward the midline"
        )
    return _at_height(at, tried, height)


def _at_height(at, tried, height):
    """Return the aim whose fraction of the window's height is `height`, between the shares tried."""
    for (low, _, below), (high, _, above) in pairwise(tried):
        if below is None or above is None or not below <= height <= above:
            continue
        for _ in range(12):
            share = 0.5 * (low + high)
            aim, fraction = at(share)
            if aim is None or fraction is None:
                break
            if abs(fraction - height) < 1e-3:
                return aim
            low, high = (share, high) if fraction < height else (low, share)
    known = [(abs(f - height), n) for n, (_, _, f) in enumerate(tried) if f is not None]
    middle = len(tried) // 2
    order = [min(known)[1]] if known else []
    order += [middle, *range(len(tried))]
    return next(tried[n][1] for n in order if tried[n][1] is not None)
