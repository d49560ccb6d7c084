"""The smallest change that mends a failing aim: it helps, nothing smaller does, and its words are true."""

import itertools
import re

import numpy as np
import pytest
from flat_back import flat_anatomy

from meshes.soft_tissue import window_centre
from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle, NeedleAim, table_lengths
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_mend import SHELLS, single_mends

USUAL = ("T10-T11", "T11-T12", "T12-L1", "L1-L2", "L2-L3", "L3-L4")


def flat_check(z, approach_deg, *, x=3.0, needle=None):
    aim = NeedleAim("T12-L1", x, z, radians(approach_deg), 0.0, "left")
    return check_needle(flat_anatomy(), aim, needle or Needle(152.0))


@pytest.fixture(scope="module")
def good(anatomy):
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(15.0), target_offset=3.0
    )
    return check_needle(anatomy, aim)


def random_failing(anatomy, *, count, rng):
    """Yield NeedleChecks that fail: entry, angles, side, needle and interspace drawn at random."""
    random, found = np.random.default_rng(rng), 0
    while found < count:
        interspace, side = random.choice(USUAL), random.choice(["left", "right"])
        z = float(window_centre(anatomy.canal, interspace)[2] - random.uniform(15.0, 110.0))
        sign = 1.0 if side == "left" else -1.0
        x = float(anatomy.tissue.midline(z)) + sign * random.uniform(0.0, 36.0)
        angles = radians(random.uniform(15.0, 75.0)), radians(random.uniform(-10.0, 40.0))
        aim = NeedleAim(str(interspace), x, z, *angles, str(side))
        check = check_needle(anatomy, aim, Needle(float(random.choice(table_lengths()))))
        if not check.passes:
            found += 1
            yield check


def mended_share(anatomy, *, count, rng):
    """Return the share of random failing aims that pass once their mend is applied."""
    passed = 0
    for check in random_failing(anatomy, count=count, rng=rng):
        mend = check.mend
        if mend is None:
            continue
        passed += (
            check_needle(anatomy, mend.aim, mend.needle, interspace=check.interspace).verdict == "passes"
        )
    return passed / count


def test_random_failing_aims_are_mended(anatomy):
    assert mended_share(anatomy, count=20, rng=4) >= 0.95


@pytest.mark.sweep
def test_a_thousand_random_failing_aims_are_mended(anatomy):
    assert mended_share(anatomy, count=1000, rng=1) >= 0.95


def test_the_smallest_change_on_a_flat_back():
    """Closed form: at 45 degrees an entry at z = -58 meets the wall at -18, the gap begins at -12.

    6 mm up, or 40 / tan(a) >= 46: 4 degrees flatter, which is the smaller.
    """
    check = flat_check(-58.0, 45.0)
    assert check.mend.moves == (0, 0, -4, 0) and check.mend.size == 4.0
    assert check.mend.words == "come in 4 degrees flatter"
    assert [mend.moves for mend in single_mends(check)][:2] == [(0, 0, -4, 0), (0, 6, 0, 0)]
    assert check.reasons[0].text.endswith("come in 4 degrees flatter, or enter 6 mm further up.")
    assert check.reasons[0].mend is check.mend and flat_check(-40.0, 45.0).mend is None


def test_nothing_smaller_passes(anatomy, good):
    """Every smaller whole change, up to 4, by the full check: none passes and keeps half a millimetre."""
    tried = 0
    for shift in (-8.0, 10.0):
        low = check_needle(anatomy, good.aim.with_changes(entry_z=good.aim.entry_z + shift))
        assert not low.passes and 2.0 <= low.mend.size <= 8.0
        smaller = int(low.mend.size) - 1
        steps = range(-smaller, smaller + 1)
        for moves in itertools.product(steps, repeat=4):
            if sum(map(abs, moves)) > min(smaller, 4):
                continue
            out, up, steeper, inward = moves
            aim = low.aim.with_changes(
                entry_x=low.aim.entry_x + out,
                entry_z=low.aim.entry_z + up,
                approach=low.aim.approach + radians(float(steeper)),
                medial=low.aim.medial + radians(float(inward)),
            )
            check, tried = check_needle(anatomy, aim), tried + 1
            assert not check.passes or check.least_clearance < 0.52, moves
    assert tried > 100


def test_another_needle_counts_as_five():
    """72.7 mm are needed at 35 degrees; a 60 mm needle would need 9 degrees steeper and a lower gap."""
    short = flat_check(-60.0, 35.0, needle=Needle(60.0))
    assert short.mend.other_needle and short.mend.needle.length == 89.0 and short.mend.moves == (0, 0, 0, 0)
    assert short.mend.size == 5.0 and short.mend.words == "take the 89 mm needle"
    # One degree is less than another needle.
    near = flat_check(-60.0, 35.0, needle=Needle(72.0))
    assert near.mend.moves == (0, 0, 1, 0) and near.mend.words == "come in 1 degree steeper"
    assert near.reasons[2].text.endswith("come in 1 degree steeper, or take the 89 mm needle.")


def test_shells_follow_each_other():
    assert [low for _, low, _ in SHELLS[1:]] == [high for _, _, high in SHELLS[:-1]]


def test_advice_helps(anatomy, good):
    """What the hint says is done, and the needle then passes the window."""
    z = window_centre(anatomy.canal, "T12-L1")[2]
    aims = [good.aim.with_changes(entry_z=good.aim.entry_z + shift) for shift in range(-20, 24, 4)]
    aims.append(NeedleAim("T12-L1", 0.0, z - 38.0, radians(45.0), 0.0, "left"))
    failing = [check for check in (check_needle(anatomy, aim) for aim in aims) if not check.reaches]
    assert len(failing) >= 5
    for check in failing:
        hint = check.reasons[0].text.split(": ")[-1]
        assert hint.startswith(check.mend.words)
        assert check_needle(anatomy, followed(check.aim, hint)).reaches, hint


def followed(aim, hint):
    """Return the aim changed as the first of the hint's proposals says."""
    first = hint.split(", or ")[0]
    moves = {"up": 0.0, "out": 0.0, "approach": 0.0, "medial": 0.0}
    rules = (
        (r"(\d+) mm further up", "up", 1.0), (r"(\d+) mm further down", "up", -1.0),
        (r"(\d+) mm further from", "out", 1.0), (r"(\d+) mm nearer to", "out", -1.0),
        (r"in (\d+) degrees? steeper", "approach", 1.0), (r"in (\d+) degrees? flatter", "approach", -1.0),
        (r"turn (\d+) degrees? more", "medial", 1.0), (r"turn (\d+) degrees? less", "medial", -1.0),
    )  # fmt: skip
    for pattern, name, sign in rules:
        if match := re.search(pattern, first):
            moves[name] += sign * float(match.group(1))
    assert any(moves.values()), hint
    return aim.with_changes(
        entry_x=aim.entry_x + aim.sign * moves["out"],
        entry_z=aim.entry_z + moves["up"],
        approach=aim.approach + radians(moves["approach"]),
        medial=aim.medial + radians(moves["medial"]),
    )
