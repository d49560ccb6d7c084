"""The words of a verdict: every reason appears where it should, and its advice helps."""

import math

import numpy as np
import pytest
from flat_back import flat_anatomy, packed_field

from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_part import bone_part
from trainer.physics.needle_verdict import Reason

STATUSES = {None, "published", "derived", "common practice", "from memory", "assumed"}


def flat_check(*, x=3.0, z=-60.0, approach_deg=35.0, medial_deg=0.0, needle=None, packed=None):
    aim = NeedleAim("T12-L1", x, z, radians(approach_deg), radians(medial_deg), "left")
    return check_needle(flat_anatomy(packed), aim, needle or Needle(114.0))


def found(check, words):
    """Return the one reason whose text holds the words."""
    reasons = [reason for reason in check.reasons if words in reason.text]
    assert len(reasons) == 1, (words, check.reasons)
    return reasons[0]


@pytest.fixture(scope="module")
def good(anatomy):
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(15.0), target_offset=3.0
    )
    return check_needle(anatomy, aim)


def test_a_good_needle_passes(good):
    assert good.verdict == "passes" and {reason.kind for reason in good.reasons} == {"ok"}
    assert all(isinstance(r, Reason) and r.status in STATUSES for r in good.reasons)
    assert found(good, "passes the T12-L1 window").kind == "ok"
    assert found(good, "The epidural entry lies").status == "derived"


def test_an_entry_across_the_midline_is_told():
    """Named left, entered 20 mm to the right of the midline."""
    across = found(flat_check(x=-20.0, medial_deg=-10.0), "across the midline from the left")
    assert across.kind == "warn" and "20 mm" in across.text
    assert not [r for r in flat_check(x=3.0).reasons if "across the midline from" in r.text]


def test_a_short_needle_does_not_hide_the_way_round_bone(anatomy):
    """What frees a long needle frees a short one too, once that is changed for one that is long enough."""
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(30.0), medial=radians(12.0), target_offset=0.0
    )
    short, long = (check_needle(anatomy, aim, Needle(mm)) for mm in (60.0, 152.0))
    assert "spinous process" in long.reasons[0].text and "no small change" not in long.reasons[0].text
    assert short.mend.moves == long.mend.moves and short.mend.other_needle and not long.mend.other_needle
    assert "and take the 89 mm needle" in short.reasons[0].text


def test_too_short():
    """At 35 degrees 40 / sin 35 = 69.7 mm and a bevel of 3 mm: 72.7 mm are needed."""
    short = found(flat_check(x=0.0, needle=Needle(72.0)), "too short")
    assert short.kind == "fail" and "73 mm are needed" in short.text and "take the 89 mm needle" in short.text
    assert found(flat_check(x=0.0, needle=Needle(73.0)), "long enough").kind == "ok"
    none = flat_check(z=-120.0, approach_deg=12.0, needle=Needle(152.0))
    # 40 / sin(a) + 3 <= 152 from 15.6 degrees on, and 40 / tan(a) must end in the gap.
    assert found(none, "too short").text.endswith("it has 152 mm: come in 5 degrees steeper.")


def test_room_before_the_dura():
    """4 / sin 35 = 6.97 mm of travel on the flat back."""
    assert found(flat_check(x=0.0, needle=Needle(114.0, bevel_length=6.8)), "to the dura").kind == "ok"
    near = found(flat_check(x=0.0, needle=Needle(114.0, bevel_length=7.2)), "to the dura")
    assert near.kind == "fail" and "7.0 mm along the needle; the bevel alone needs 7.2 mm" in near.text


@pytest.mark.parametrize(
    "approach_deg, kind, words",
    [(25.0, "ok", "flat"), (30.0, "ok", "usual"), (45.0, "ok", "usual"), (46.0, "warn", "steep"),
     (59.0, "warn", "steep"), (60.0, "fail", "from 60 degrees on: come in 5 degrees flatter")],
)  # fmt: skip
def test_approach(approach_deg, kind, words):
    reason = found(flat_check(approach_deg=approach_deg, z=-40.0), "degrees to the skin")
    assert reason.kind == kind and words in reason.text


@pytest.mark.parametrize(
    "x, kind, words",
    [(0.0, "warn", "lies on the midline: 2 to 5.5 mm"), (1.0, "warn", "1.0 mm to the left"),
     (2.0, "ok", "good for the lead"), (5.5, "ok", "good for the lead"),
     (6.5, "warn", "2 to 5.5 mm on the entry side"), (8.5, "fail", "round the side of the sac"),
     (-3.0, "warn", "3.0 mm to the right of the midline, across from the entry")],
)  # fmt: skip
def test_offset(x, kind, words):
    reason = found(flat_check(x=x), "The epidural entry lies")
    assert reason.kind == kind and words in reason.text


@pytest.mark.parametrize(
    "x, medial_deg, kind, words",
    [
        (3.5, 0.0, "warn", "does not cross the midline"),
        (8.5, 5.0, "warn", "crosses the midline 40 mm further up, late"),
        (15.5, 12.0, "ok", "good for the lead"),
        (27.5, 25.0, "warn", "soon"),
    ],
)
def test_crossing(x, medial_deg, kind, words):
    """On the flat back a line that begins x mm out crosses the midline x / tan(medial) further up."""
    check = flat_check(x=x, medial_deg=medial_deg)
    reason = check.reasons[-1]
    assert "cross" in reason.text and reason.kind == kind and words in reason.text
    if medial_deg:
        back = math.cos(radians(35.0)) * math.cos(radians(medial_deg)) * check.to_epidural
        assert check.crossing_travel == pytest.approx(x / math.tan(radians(medial_deg)) - back, abs=1e-6)


def slab(low, high):
    """Return bones: a box over all x, from y = -40 to -34 and z = low to high."""

    def distance(x, y, z):
        dy, dz = np.maximum(-40.0 - y, y + 34.0), np.maximum(low - z, z - high)
        outside = np.hypot(np.maximum(dy, 0.0), np.maximum(dz, 0.0))
        return outside + np.minimum(np.maximum(dy, dz), 0.0) + 0.0 * x

    return packed_field(distance, (-8, -50, low - 10), (8, -20, high + 10), 0.5)


def test_clearance_is_told_and_judged():
    """Closed form: at 45 degrees the axis passes the slab's rear edge at (z0 - edge - 34) sin 45."""
    edge, radius = -60.0 + 34.0, Needle().outer_radius
    for gap, kind in ((radius + 0.3, "warn"), (radius + 0.9, "ok")):
        check = flat_check(approach_deg=45.0, z=-60.0, packed=slab(-60.0, edge - gap * np.sqrt(2.0)))
        assert check.least_clearance == pytest.approx(gap - radius, abs=0.06)
        assert found(check, "The shaft keeps").kind == kind


def test_bone_is_named_with_depth_and_advice(anatomy, good):
    low = check_needle(anatomy, good.aim.with_changes(entry_z=good.aim.entry_z - 12.0))
    assert low.verdict == "fails" and low.first_bone == "L1" and "L1 lamina" in low.first_bone_part
    text = low.reasons[0].text
    assert f"meets {low.first_bone_part} " in text and " mm below the window, " in text
    assert f", {low.first_bone_depth:.0f} mm below the skin" in text
    assert "further up" in text


def test_no_advice_where_none_helps():
    roof = packed_field(lambda x, y, z: np.abs(y + 20.0) - 2.0, (-60, -30, -140), (60, -10, 140), 2.0)
    text = flat_check_of(roof)
    assert "no small change frees it" in text


def flat_check_of(packed):
    """Return the words on a needle that meets a bone without a drawn shape."""
    check = flat_check(packed=packed)
    object.__setattr__(check, "first_bone_part", "a plate")
    return check.reasons[0].text


@pytest.mark.parametrize("level", ["T9", "T12", "L1", "L4"])
def test_parts_of_a_vertebra(anatomy, level):
    shape = anatomy.bones[level].shape
    edges = shape.lamina
    (top_y, top_z), (bottom_y, bottom_z) = edges.top(4.0), edges.bottom(4.0)
    middle = np.array([4.0, 0.5 * (top_y + bottom_y), 0.5 * (top_z + bottom_z)])
    assert bone_part(shape, (4.0, top_y, top_z + edges.top_radius)) == f"the upper edge of the {level} lamina"
    assert (
        bone_part(shape, (-4.0, bottom_y, bottom_z - edges.bottom_radius))
        == f"the lower edge of the {level} lamina"
    )
    assert bone_part(shape, middle) == f"the face of the {level} lamina"
    assert bone_part(shape, (0.0, *shape.spinous_tip)) == f"the spinous process of {level}"
    assert bone_part(shape, (0.0, shape.posterior_wall - 5.0, 0.0)) == f"the body of {level}"
    side = shape.window_half_width + 4.0
    (top_y, top_z), (bottom_y, bottom_z) = edges.top(side), edges.bottom(side)
    assert bone_part(shape, (side, top_y, top_z + 4.0)) == f"the superior articular process of {level}"
    assert bone_part(shape, (-side, bottom_y, bottom_z - 4.0)) == f"the inferior articular process of {level}"


def test_the_sacrum_is_one_part(anatomy):
    assert bone_part(anatomy.bones["S1"].shape, (0.0, 40.0, -10.0)) == "the back of the sacrum"
