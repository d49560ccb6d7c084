"""Needle and aim: what they refuse, and what they let through."""

import math

import numpy as np
import pytest

from meshes.units import radians
from trainer.physics.needle import Needle, NeedleAim, check_side, side_sign, table_lengths


def test_standard_needle_comes_from_the_table():
    needle = Needle()
    assert needle.gauge == 14 and needle.length in table_lengths()
    assert needle.outer_radius == pytest.approx(1.054) and needle.bore_radius == pytest.approx(0.8)
    assert table_lengths() == (89.0, 102.0, 114.0, 152.0)


def test_given_radii_are_kept():
    needle = Needle(102.0, outer_radius=0.9, bore_radius=0.7, bevel_length=2.5)
    assert (needle.outer_radius, needle.bore_radius, needle.bevel_length) == (0.9, 0.7, 2.5)


def test_tip_and_stylet():
    """An arc of 4 mm that turns by 20 degrees ends 0.694 mm aside: 4 (1 - cos 20) / (20 in radians)."""
    curved, straight = Needle(), Needle(tip="straight")
    assert curved.tip_shift == pytest.approx(4.0 * (1.0 - math.cos(radians(20.0))) / radians(20.0))
    assert straight.tip_shift == 0.0 and straight.bend_angle == 0.0
    along = np.array([0.0, 0.0, 1.0])
    np.testing.assert_allclose(straight.opening_direction(along, [0.0, 2.0, 0.5]), along, atol=1e-12)
    turned = curved.opening_direction(along, [0.0, 2.0, 0.5])
    np.testing.assert_allclose(turned, [0.0, math.sin(radians(20.0)), math.cos(radians(20.0))], atol=1e-12)
    with pytest.raises(ValueError, match="face must point to a side of the shaft"):
        curved.opening_direction(along, 3.0 * along)
    assert curved.stylet_in and not curved.with_stylet(False).stylet_in
    assert 0.7 < curved.stylet_radius < curved.bore_radius
    assert curved.opening_length <= curved.bevel_length and curved.opening_behind_tip == 1.5


@pytest.mark.parametrize(
    "wrong, good, words",
    [
        ({"gauge": 18}, {"gauge": 14}, "gauge must be one of 14, got 18"),
        ({"length": 30.0}, {"length": 40.0}, "length must lie between 40 and 250 mm, got 30"),
        ({"length": math.nan}, {"length": 250.0}, "length must lie between"),
        (
            {"bore_radius": 1.2},
            {"bore_radius": 0.9},
            "bore_radius must be positive and less than outer_radius",
        ),
        ({"outer_radius": 3.5}, {"outer_radius": 2.9}, "less than 3 mm"),
        (
            {"opening_length": 3.5},
            {"opening_length": 3.0},
            "opening_length must lie between 0 and the bevel_length of 3 mm, got 3.5",
        ),
        ({"tip": "bent"}, {"tip": "straight"}, "tip must be straight or curved, got 'bent'"),
        ({"bevel_length": -1.0}, {"bevel_length": 0.0}, "bevel_length must lie between 0 and 10 mm, got -1"),
    ],
)
def test_needle_guards(wrong, good, words):
    with pytest.raises(ValueError, match=words):
        Needle(**wrong)
    assert Needle(**good)


def an_aim(**changes):
    return NeedleAim(
        **(
            {"interspace": "T12-L1", "entry_x": 12.0, "entry_z": 90.0, "approach": 0.6, "medial": 0.2}
            | changes
        )
    )


@pytest.mark.parametrize(
    "wrong, good, words",
    [
        (
            {"approach": radians(4.0)},
            {"approach": radians(5.0)},
            "approach_deg must lie between 5 and 90, got 4",
        ),
        (
            {"approach": radians(91.0)},
            {"approach": radians(90.0)},
            "approach_deg must lie between 5 and 90, got 91",
        ),
        ({"approach": math.nan}, {"approach": 0.5}, "approach_deg must lie between"),
        (
            {"medial": radians(61.0)},
            {"medial": radians(-59.0)},
            "medial_deg must lie between -60 and 60, got 61",
        ),
        ({"interspace": "T12"}, {"interspace": "t12–l1"}, "interspace must be one of"),
        ({"side": "Left"}, {"side": "left"}, "side must be left or right, got 'Left'"),
        ({"entry_x": math.inf}, {"entry_x": 0.0}, "entry_x must be a number"),
        ({"entry_z": math.nan}, {"entry_z": -10.0}, "entry_z must be a number"),
    ],
)
def test_aim_guards(wrong, good, words):
    with pytest.raises(ValueError, match=words):
        an_aim(**wrong)
    assert an_aim(**good)


def test_side_follows_the_entry_unless_named():
    assert an_aim().side == "left" and an_aim(entry_x=-3.0).side == "right"
    assert an_aim(entry_x=-3.0, side="left").sign == 1.0
    assert check_side("right") == "right" and side_sign("right") == -1.0


def test_aims_are_values():
    assert an_aim() == an_aim() and an_aim().with_changes(medial=0.3) != an_aim()
    assert an_aim(interspace="T12/L1").interspace == "T12-L1"
