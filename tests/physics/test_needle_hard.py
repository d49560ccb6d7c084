"""Ossified and calcified tissue stops a needle; a removed or parted flavum takes its warning away."""

import numpy as np
import pytest

from meshes import findings as kinds
from meshes.anatomy import Anatomy
from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.corridor import corridor
from trainer.physics.needle import NeedleAim
from trainer.physics.needle_check import check_needle


@pytest.fixture(scope="module")
def paramedian(anatomy):
    """Return an aim that passes at T12-L1 of the ordinary adult."""
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(15.0), target_offset=3.0
    )
    assert check_needle(anatomy, aim).verdict == "passes"
    return aim


def with_findings(anatomy, *findings):
    """Return the same bones under other findings."""
    return Anatomy(anatomy.parameters.with_changes(findings=findings), anatomy.bones, anatomy.poses)


def warnings(check):
    return [reason.text for reason in check.reasons if reason.kind == "warn"]


def test_ossified_flavum_stops_the_needle_at_its_back(anatomy, paramedian):
    usual = check_needle(anatomy, paramedian)
    stone = kinds.FlavumThickening("T12-L1", 1.0, ossified=True)
    check = check_needle(anatomy.with_pose(findings=(stone,)), paramedian)
    assert check.verdict == "fails" and not check.reaches and check.first_bone == "T12"
    # Thickened into the canal: its back stays where it was, and the round tip touches it before the axis.
    assert 0.0 < usual.to_flavum - check.to_first_bone < check.needle.outer_radius / np.sin(0.6) + 0.6
    assert check.first_bone_part == "the ossified ligamentum flavum at T12-L1"
    assert "ossified ligamentum flavum at T12-L1" in check.reasons[0].text


def test_thick_flavum_without_bone_lets_the_needle_through(anatomy, paramedian):
    soft = check_needle(anatomy.with_pose(findings=(kinds.FlavumThickening("T12-L1", 0.5),)), paramedian)
    assert soft.hard is None and soft.reaches
    elsewhere = kinds.FlavumThickening("T11-T12", 3.0, ossified=True)
    assert check_needle(anatomy.with_pose(findings=(elsewhere,)), paramedian).verdict == "passes"


def test_calcified_ligaments_shut_the_midline_but_not_the_paramedian_way(anatomy, paramedian):
    midline = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(70.0), medial=0.0, target_offset=0.0
    )
    usual = check_needle(anatomy, midline)
    assert usual.reaches
    hard = anatomy.with_pose(findings=(kinds.LigamentCalcification("T12-L1"),))
    check = check_needle(hard, midline)
    assert not check.reaches and check.first_bone_part.endswith("ligament at T12-L1")
    assert check.to_first_bone < usual.to_flavum
    assert check_needle(hard, paramedian).verdict == "passes"


def test_no_loss_of_resistance_where_the_flavum_is_gone(anatomy, paramedian):
    usual = check_needle(anatomy, paramedian)
    assert usual.flavum_state == "whole" and usual.to_epidural - usual.to_flavum > 3.0
    for level in ("T12", "L1"):
        check = check_needle(with_findings(anatomy, kinds.Laminectomy(level, scar=0.3)), paramedian)
        assert check.flavum_state == "gone"
        assert check.to_epidural - check.to_flavum < 0.1
        assert any("no loss of resistance" in text for text in warnings(check))
    away = check_needle(with_findings(anatomy, kinds.Laminectomy("L3")), paramedian)
    assert away.flavum_state == "whole" and not any("no loss" in text for text in warnings(away))


def test_a_laminotomy_of_the_other_side_leaves_the_flavum(anatomy, paramedian):
    for side, state in (("left", "gone"), ("right", "whole")):
        cut = kinds.Laminectomy("L1", side=side, scar=0.2)
        assert check_needle(with_findings(anatomy, cut), paramedian).flavum_state == state


def test_a_cleft_is_met_on_the_midline_only(anatomy, paramedian):
    parted = anatomy.with_pose(flavum_gaps=("T12-L1",))
    assert check_needle(parted, paramedian).flavum_state == "whole"
    assert check_needle(parted, paramedian).verdict == "passes"
    midline = aim_at_target(
        parted, "T12-L1", side="left", approach=radians(70.0), medial=0.0, target_offset=0.0
    )
    check = check_needle(parted, midline)
    assert check.flavum_state == "parted"
    assert any("parted on the midline" in text for text in warnings(check))


def test_a_needle_that_misses_the_canal_has_no_flavum(anatomy):
    check = check_needle(anatomy, NeedleAim("T12-L1", 90.0, 120.0, radians(60.0), 0.0, "left"))
    assert check.flavum_state is None


@pytest.fixture(scope="module")
def midline(anatomy):
    """Return a steep aim that passes between the spinous processes."""
    aim = aim_at_target(anatomy, "T12-L1", side="left", approach=radians(70.0), medial=0.0, target_offset=0.0)
    assert check_needle(anatomy, aim).reaches
    return aim


def test_implants_stop_a_needle_and_have_words_of_their_own(anatomy, midline):
    """A spacer between the spinous processes shuts the midline; a screw stops a needle that aims at it."""
    findings = kinds.InterspinousImplant("T12-L1"), kinds.PedicleScrews("L4", "L5")
    operated = anatomy.with_pose(findings=findings)
    check = check_needle(operated, midline)
    assert check.first_bone == "T12" and check.hard == "the interspinous spacer at T12-L1"
    assert check.hard in check.reasons[0].text and "stops it like bone" in check.reasons[0].text
    head = operated.implants["screw L4 left"][0]
    x, _, z = head[head[:, 1].argmax()]
    struck = check_needle(operated, NeedleAim("L3-L4", float(x), float(z), radians(85.0), 0.0, "left"))
    assert struck.hard == "the left L4 pedicle screw" and struck.first_bone == "L4"


def test_maps_and_mends_go_round_what_is_hard(anatomy, midline):
    """The same obstacles everywhere: the map loses its midline, and a mend found beside a spacer passes."""
    operated = anatomy.with_pose(findings=(kinds.InterspinousImplant("T12-L1"),))
    steep = {"approach": radians([65.0, 70.0]), "medial": [0.0], "lateral": [0.0, 1.0]}
    assert corridor(anatomy, "T12-L1", **steep).free.any()
    assert not corridor(operated, "T12-L1", **steep).free.any()
    check = check_needle(operated, midline)
    assert not check.passes and check_needle(operated, check.mend.aim, check.mend.needle).passes
