"""Aims that are solved for: they hit what they are asked to hit, and refuse what does not exist."""

import numpy as np
import pytest
from flat_back import ENTRY, WALL_RADIUS, flat_anatomy

from meshes.units import radians
from trainer.physics.aim import aim_at_target, entry_for_point, epidural_target
from trainer.physics.needle import Needle
from trainer.physics.needle_axis import SURE
from trainer.physics.needle_check import check_needle
from trainer.physics.plan import NoCorridorError, plan_needle


@pytest.mark.parametrize("interspace", ["T11-T12", "T12-L1", "L1-L2", "L2-L3"])
@pytest.mark.parametrize("side, sign", [("left", 1.0), ("right", -1.0)])
@pytest.mark.parametrize(
    "approach_deg, medial_deg, offset", [(30, 12, 3.0), (45, 18, 3.0), (60, 8, 0.0), (50, 5, -2.0)]
)
def test_the_axis_hits_the_target(anatomy, interspace, side, sign, approach_deg, medial_deg, offset):
    angles = {"approach": radians(approach_deg), "medial": radians(medial_deg)}
    aim = aim_at_target(anatomy, interspace, side=side, target_offset=offset, **angles)
    check = check_needle(anatomy, aim)
    assert aim.side == side and aim.approach == angles["approach"] and aim.medial == angles["medial"]
    assert check.lateral_offset == pytest.approx(sign * offset, abs=1e-4)
    assert check.angle_to_skin == pytest.approx(aim.approach, abs=1e-7)
    assert check.window_height_fraction == pytest.approx(0.5, abs=0.02) and check.entered == interspace


def test_height_in_the_window_is_chosen(anatomy):
    fractions = []
    for height in (0.3, 0.5, 0.7):
        aim = aim_at_target(
            anatomy,
            "T12-L1",
            side="left",
            approach=radians(40),
            medial=radians(14),
            target_offset=3,
            height=height,
        )
        fractions.append(check_needle(anatomy, aim).window_height_fraction)
    np.testing.assert_allclose(fractions, [0.3, 0.5, 0.7], atol=0.02)


def test_entry_on_a_flat_back():
    """Closed form: depth / tan(approach) back along the skin, split by the medial angle."""
    a, b, target = radians(40.0), radians(15.0), np.array([2.0, -40.0, 10.0])
    entry = entry_for_point(flat_anatomy().tissue, target, sign=1.0, approach=a, medial=b)
    back = 40.0 / np.tan(a)
    np.testing.assert_allclose(entry, [2.0 + back * np.sin(b), 10.0 - back * np.cos(b)], atol=1e-6)


def test_target_on_a_round_canal():
    point = epidural_target(flat_anatomy(), 150.0, 5.0)
    np.testing.assert_allclose(
        point, [5.0, ENTRY - WALL_RADIUS + np.sqrt(WALL_RADIUS**2 - 25.0), 0.0], atol=1e-6
    )
    with pytest.raises(ValueError, match="target_offset must stay within 11.4 mm of the midline, got 11.5"):
        epidural_target(flat_anatomy(), 150.0, -11.5)
    assert epidural_target(flat_anatomy(), 150.0, 11.3).shape == (3,)


@pytest.mark.parametrize(
    "wrong, words",
    [
        ({"approach": radians(3.0)}, "approach_deg must lie between 5 and 90"),
        ({"medial": radians(70.0)}, "medial_deg must lie between -60 and 60"),
        ({"side": "top"}, "side must be left or right"),
        ({"height": 1.2}, "height must lie between 0 and 1, got 1.2"),
        ({"target_offset": 30.0}, "target_offset must stay within"),
    ],
)
def test_aim_guards(anatomy, wrong, words):
    asked = {"side": "left", "approach": radians(40.0), "medial": radians(10.0), "target_offset": 2.0}
    with pytest.raises(ValueError, match=words):
        aim_at_target(anatomy, "T12-L1", **(asked | wrong))
    with pytest.raises(ValueError, match="interspace must be one of"):
        aim_at_target(anatomy, "T5-T6", **asked)
    assert aim_at_target(anatomy, "T12-L1", **asked)


@pytest.mark.parametrize("approach_deg", [60.0, 75.0])
def test_a_needle_at_the_sacrum_gets_the_full_check(anatomy, approach_deg):
    """L5-S1 is the widest gap; its dural sac leaves 8 mm of fat and more behind it."""
    aim = aim_at_target(
        anatomy, "L5-S1", side="left", approach=radians(approach_deg), medial=radians(10.0), target_offset=3.0
    )
    check = check_needle(anatomy, aim)
    assert check.reaches and check.entered == "L5-S1" and check.flavum_state == "whole"
    assert check.to_fascia < check.to_flavum < check.to_epidural < check.to_dura
    assert 2.5 < (check.to_epidural - check.to_flavum) * np.sin(aim.approach) < 8.0
    assert check.window_bones == ("S1", "L5")[::-1] and check.window_height > 8.0 < check.window_width
    assert check.lateral_offset == pytest.approx(3.0, abs=1e-4) and check.dorsal_gap > 4.0
    flat = check_needle(
        anatomy,
        aim_at_target(
            anatomy, "L5-S1", side="left", approach=radians(40.0), medial=radians(10.0), target_offset=3.0
        ),
    )
    assert flat.first_bone == "S1" and not flat.reaches


def test_a_back_too_short_is_refused():
    asked = {"side": "left", "medial": 0.0, "target_offset": 0.0}
    assert aim_at_target(flat_anatomy(), "T12-L1", approach=radians(20.0), **asked)
    with pytest.raises(ValueError, match="approach must let the needle reach T12-L1 from the modelled back"):
        aim_at_target(flat_anatomy(), "T12-L1", approach=radians(12.0), **asked)


def test_joint_plan_of_the_ordinary_adult(anatomy):
    """Mouth 2-5.5 mm off on the entry side, line across the midline 9-30 mm on, free of bone."""
    plan = plan_needle(anatomy, "T12-L1", side="left", needle=Needle(152.0), largest_approach=radians(35.0))
    check = check_needle(anatomy, plan.aim, Needle(152.0))
    assert check.verdict == "passes" and check.first_bone is None and check.entered == "T12-L1"
    assert {reason.kind for reason in check.reasons} == {"ok"}
    assert 1.5 < check.least_clearance < SURE and plan.aim.approach <= radians(35.0)
    assert 1.9 <= check.lateral_offset <= 5.6 and 8.5 <= check.crossing_travel <= 31.0
    assert 10.0 < plan.aim.entry_x < 22.0 and 60.0 < check.to_epidural < 85.0
    assert 0.4 < plan.chance <= plan.needle_chance <= 1.0
    assert plan.novice_chance < plan.chance and plan.novice_needle_chance < plan.needle_chance
    assert 0.0 < plan.share < plan.needle_share and plan.needle_difficulty <= plan.difficulty


def test_plans_repeat_and_mirror(anatomy):
    asked = {"needle": Needle(152.0), "largest_approach": radians(35.0)}
    first = plan_needle(anatomy, "T12-L1", side="left", rng=3, **asked)
    assert plan_needle(anatomy, "T12-L1", side="left", rng=3, **asked) == first
    right = plan_needle(anatomy, "T12-L1", side="right", rng=3, **asked)
    assert right.chance == pytest.approx(first.chance, abs=0.02)
    assert right.aim.entry_x == pytest.approx(-first.aim.entry_x, abs=1e-6)
    for name in ("entry_z", "approach", "medial"):
        assert getattr(right.aim, name) == pytest.approx(getattr(first.aim, name), abs=1e-6)


@pytest.mark.parametrize(
    "scoliosis_deg, lordosis_deg, mass", [(30.0, 50.0, 25.0), (0.0, 20.0, 25.0), (-20.0, 70.0, 35.0)]
)
def test_plans_hold_on_other_backs(anatomy, scoliosis_deg, lordosis_deg, mass):
    """What is planned on curved, flat, hollow and heavy backs a full check has nothing against."""
    patient = anatomy.with_pose(
        scoliosis=radians(scoliosis_deg), lumbar_lordosis=radians(lordosis_deg), body_mass_index=mass
    )
    for side, sign in (("left", 1.0), ("right", -1.0)):
        plan = plan_needle(patient, "T12-L1", side=side, needle=Needle(152.0), largest_approach=radians(40.0))
        check = check_needle(patient, plan.aim, Needle(152.0))
        assert check.verdict == "passes" and {reason.kind for reason in check.reasons} == {"ok"}
        assert 1.9 <= sign * check.lateral_offset <= 5.6
        assert sign * (plan.aim.entry_x - patient.tissue.midline(plan.aim.entry_z)) > 5.0


def test_plan_without_a_way_is_refused(anatomy):
    with pytest.raises(
        NoCorridorError, match="got none at T12-L1 from the left at up to 16 degrees with a 89 mm"
    ):
        plan_needle(anatomy, "T12-L1", needle=Needle(89.0), largest_approach=radians(16.0))
    with pytest.raises(ValueError, match="approach_deg must lie between"):
        plan_needle(anatomy, "T12-L1", largest_approach=radians(95.0))


@pytest.mark.parametrize("approach_deg", [5.0, 6.0, 8.0])
def test_an_axis_nearly_along_the_skin_is_aimed_or_refused(anatomy, approach_deg):
    """The search is thrown far aside here; warnings are errors in this suite."""
    for interspace, medial_deg in (("T12-L1", 12.0), ("T6-T7", 0.0)):
        try:
            aim = aim_at_target(
                anatomy, interspace, side="left", approach=radians(approach_deg), medial=radians(medial_deg)
            )
        except ValueError as error:
            assert "come in steeper" in str(error)
        else:
            assert np.isfinite([aim.entry_x, aim.entry_z]).all()
