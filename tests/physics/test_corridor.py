"""The corridor map: against closed forms, and against the full check."""

import math

import numpy as np
import pytest
from flat_back import flat_anatomy, packed_field

from meshes.units import radians
from trainer.physics.corridor import CAUDAL, corridor, map_places
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_trials import BONE, ELSEWHERE, NO_ROOM, TOO_LONG, Rule, try_aims

COARSE = {
    "lateral": np.linspace(0.0, 32.0, 9),
    "caudal": CAUDAL[::2],
    "medial": radians(np.linspace(0.0, 30.0, 7)),
}


def slot(gap, thickness):
    """Return bones: two square slabs across the way, `gap` apart about z = 0, their rear face at y = -30."""

    def distance(x, y, z):
        dy = np.maximum(-30.0 - thickness - y, y + 30.0)
        dz = 0.5 * gap - np.abs(z)
        return (
            np.hypot(np.maximum(dy, 0.0), np.maximum(dz, 0.0)) + np.minimum(np.maximum(dy, dz), 0.0) + 0.0 * x
        )

    return packed_field(distance, (-2, -50, -70), (2, -10, 70), 0.25)


@pytest.mark.parametrize("approach_deg", [35.0, 45.0, 60.0])
def test_free_height_of_a_slot(approach_deg):
    """Closed form: gap - thickness cot(a) - 2 (radius + margin) / sin(a) of entries pass two square slabs."""
    gap, thickness, a = 20.0, 5.0, radians(approach_deg)
    z = np.arange(-140.0, 10.0, 0.02)
    places = np.column_stack([0.0 * z, z, a + 0.0 * z, 0.0 * z])
    rule = Rule(length=200.0, radius=1.05, margin=0.5, bevel=3.0, travel=3.0, offset=8.0)
    anatomy = flat_anatomy(slot(gap, thickness))
    wide = anatomy.canal.interspaces["T12-L1"]
    object.__setattr__(wide, "flavum_caudal", 100.0)
    object.__setattr__(wide, "lamina_caudal_edge", 200.0)
    free = try_aims(anatomy, "T12-L1", places, sign=1.0, rule=rule).free.sum() * 0.02
    expected = gap - thickness / math.tan(a) - 2.0 * (1.05 + 0.5) / math.sin(a)
    assert free == pytest.approx(expected, abs=0.15)


def test_why_needles_fail_on_a_flat_back():
    """40 / sin 40 = 62.2 mm to the epidural entry, 4 / sin 40 = 6.2 mm of travel, exactly known."""
    place = np.array([[0.0, -45.0, radians(40.0), 0.0]])
    rule = Rule(length=66.0, radius=1.05, margin=0.5, bevel=3.0, travel=3.0, offset=8.0)

    def outcome(*, shift=(0.0, 0.0, 0.0, 0.0), **changes):
        changed = Rule(**(vars(rule) | changes))
        return try_aims(flat_anatomy(), "T12-L1", np.add(place, shift), sign=1.0, rule=changed)

    assert outcome().free[0]
    assert outcome().travel[0] == pytest.approx(4.0 / math.sin(radians(40.0)), abs=0.3)
    assert outcome(length=65.0).code[0] == TOO_LONG
    assert outcome(travel=6.6).code[0] == NO_ROOM
    assert outcome(shift=(0.0, -40.0, 0.0, 0.0)).code[0] == ELSEWHERE
    assert outcome(shift=(9.0, 0.0, 0.0, 0.0)).code[0] == ELSEWHERE
    blocked = flat_anatomy(slot(1.0, 5.0))
    assert try_aims(blocked, "T12-L1", place, sign=1.0, rule=rule).code[0] == BONE


def test_map_agrees_with_the_full_check(anatomy):
    """Free samples reach the epidural space without bone, and their places agree roughly."""
    found = corridor(anatomy, "T12-L1", approach=radians([30.0, 45.0]), needle=Needle(152.0), **COARSE)
    free = np.argwhere(found.free)
    assert 20 < len(free) < found.free.size // 10
    places = [found.aim(index) for index in free[:: max(1, len(free) // 60)]]
    checks = [check_needle(anatomy, aim, Needle(152.0)) for aim in places]
    assert np.mean([check.reaches for check in checks]) > 0.97
    rows = free[:: max(1, len(free) // 60)]
    offset = np.array([found.trials.offset[tuple(i)] for i in rows])
    travel = np.array([found.trials.travel[tuple(i)] for i in rows])
    crossing = np.array([found.trials.crossing[tuple(i)] for i in rows])
    assert np.abs(offset - [check.lateral_offset for check in checks]).max() < 0.25
    known = [(t, c.safe_travel) for t, c in zip(travel, checks) if c.safe_travel is not None]
    assert np.median(np.abs(np.subtract(*np.transpose(known)))) < 0.4
    exact = np.array([math.inf if c.crossing_travel is None else c.crossing_travel for c in checks])
    near = exact < 40.0
    assert near.sum() > 10 and np.abs(crossing[near] - exact[near]).max() < 2.0


def test_touching_needles_are_not_free(anatomy):
    found = corridor(anatomy, "T12-L1", approach=radians([35.0]), needle=Needle(152.0), **COARSE)
    struck = np.argwhere(found.trials.code == BONE)[::2]
    checks = [check_needle(anatomy, found.aim(index), Needle(152.0)) for index in struck]
    assert len(checks) > 10 and max(check.least_clearance for check in checks) < 0.55


def test_widest_is_certified(anatomy):
    found = corridor(anatomy, "T12-L1", approach=radians([40.0, 45.0]), needle=Needle(152.0), **COARSE)
    widest = found.widest(candidates=20)
    assert widest.reaches and widest.least_clearance > 2.0 and 0.0 < found.share < 0.1 and found.etendue > 0.0
    closed = corridor(anatomy, "T12-L1", approach=radians([45.0]), lateral=[0.0], caudal=[45.0], medial=[0.0])
    assert closed.widest() is None and closed.share == 0.0


def test_both_sides_are_alike(anatomy):
    left, right = (
        corridor(anatomy, "L1-L2", side=side, approach=radians([40.0]), **COARSE)
        for side in ("left", "right")
    )
    assert (left.free != right.free).mean() < 1e-3 and left.free.any()


def test_places_follow_the_row_of_spinous_processes(anatomy):
    place = map_places(
        anatomy, "T12-L1", "right", np.array([10.0]), np.array([50.0]), np.array([0.6]), np.array([0.2])
    )
    assert place.shape == (1, 4) and place[0, 0] == pytest.approx(-10.0, abs=1e-6)
    assert NeedleAim("T12-L1", *place[0]).side == "right"


def test_map_guards(anatomy):
    with pytest.raises(ValueError, match="interspace must be one of"):
        corridor(anatomy, "T12", approach=[0.7])
    with pytest.raises(ValueError, match="side must be left or right"):
        corridor(anatomy, "T12-L1", side="both", approach=[0.7])
