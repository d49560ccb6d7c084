"""Levels marked on a picture, against the levels that are there."""

import numpy as np
import pytest

from meshes.anatomy import build_anatomy
from meshes.findings import TransitionalLevel
from meshes.levels import COLUMN
from meshes.parameters import SpineParameters
from meshes.units import radians
from trainer.physics.level_count import (
    LevelMark,
    ambiguity,
    distance_to_outline,
    judge_count,
    level_at,
)
from trainer.physics.picture_rays import picture_point
from trainer.physics.xray_carm import CArm, isocentre_at


@pytest.fixture(scope="module")
def carm(anatomy):
    return CArm(isocentre_at(anatomy, "L1"), image_size=420.0)


def coarse(**changes):
    return build_anatomy(SpineParameters(**changes), pitch=1.4)


def mark(anatomy, carm, level, named=None):
    column, row = picture_point(carm, anatomy.landmarks.levels[level].body_centre)
    return LevelMark(named or level, float(column), float(row))


def shifted(anatomy, carm, levels, by):
    return [mark(anatomy, carm, level, COLUMN[COLUMN.index(level) + by]) for level in levels]


SQUARE = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])


@pytest.mark.parametrize(
    "place, far", [((5, 5), 0), ((5, -3), 3), ((13, 14), 5), ((10, 10), 0), ((-2, 5), 2)]
)
def test_distance_to_a_square(place, far):
    assert distance_to_outline(np.array(place, float), SQUARE) == pytest.approx(far)


@pytest.mark.parametrize("orbit_deg", (0.0, 50.0, 90.0, -90.0))
def test_every_body_is_found_under_its_own_middle(anatomy, orbit_deg):
    turned = CArm(isocentre_at(anatomy, "L1"), radians(orbit_deg))
    for level in COLUMN:
        place = picture_point(turned, anatomy.landmarks.levels[level].body_centre)
        assert level_at(anatomy, place, carm=turned) == (level, 0.0)


def test_a_place_off_the_spine_is_no_level(anatomy, carm):
    far = picture_point(carm, anatomy.landmarks.levels["L3"].body_centre + [60.0, 0.0, 0.0])
    level, distance = level_at(anatomy, far, carm=carm)
    assert level is None
    assert 30.0 < distance < 45.0
    near = picture_point(carm, anatomy.landmarks.levels["L3"].body_centre + [28.0, 0.0, 0.0])
    assert level_at(anatomy, near, carm=carm)[0] == "L3"


def test_a_right_count_is_right_from_both_ends(anatomy, carm):
    levels = ("S1", "L5", "L4", "L3", "L2", "L1", "T12")
    marks = [mark(anatomy, carm, level) for level in levels]
    for start in ("below", "above", None):
        count = judge_count(anatomy, marks, carm=carm, start=start)
        assert count.judgement == "right"
        assert [found.level for found in count.marks] == list(levels)
    assert count.ambiguity == ()


def test_a_count_must_begin_where_it_says(anatomy, carm):
    marks = [mark(anatomy, carm, level) for level in ("L3", "L2")]
    below = judge_count(anatomy, marks, carm=carm, start="below")
    above = judge_count(anatomy, marks, carm=carm, start="above")
    assert (below.judgement, above.judgement) == ("incomplete", "incomplete")
    assert "sacrum" in below.text
    assert "last rib" in above.text


def test_a_count_that_is_off_by_one_is_shifted(anatomy, carm):
    count = judge_count(anatomy, shifted(anatomy, carm, ("L2", "L3", "L4"), 1), carm=carm)
    assert count.judgement == "shifted"
    assert {found.shift for found in count.marks} == {1}
    assert "1 too far caudal" in count.text


def test_unlike_errors_are_mixed(anatomy, carm):
    marks = [mark(anatomy, carm, "L2"), mark(anatomy, carm, "L3", "L4")]
    count = judge_count(anatomy, marks, carm=carm)
    assert (count.judgement, count.text) == ("mixed", "L4 lies on L3.")


def test_a_mark_beside_the_spine_is_told(anatomy, carm):
    place = picture_point(carm, anatomy.landmarks.levels["L3"].body_centre + [80.0, 0.0, 0.0])
    count = judge_count(anatomy, [LevelMark("L3", *place)], carm=carm)
    assert count.judgement == "off the spine"
    assert "L3 by" in count.text


def test_a_sacralised_level_misleads_the_count_from_below(carm):
    body = coarse(findings=(TransitionalLevel("sacralised"),))
    assert "L5 has grown to the sacrum" in ambiguity(body)[0]
    # Who takes the lowest free body, L4, for L5 names every level one too far caudal.
    marks = [mark(body, carm, "L5", "S1"), *shifted(body, carm, ("L4", "L3", "L2"), 1)]
    count = judge_count(body, marks, carm=carm, start="below")
    assert count.judgement == "shifted"
    assert "taken for L5; L5 has grown" in count.text
    right = judge_count(body, [mark(body, carm, "L5"), mark(body, carm, "L4")], carm=carm, start="below")
    assert right.judgement == "right"


def test_a_lumbarised_level_misleads_the_other_way(carm):
    body = coarse(findings=(TransitionalLevel("lumbarised"),))
    marks = shifted(body, carm, ("S1", "L5", "L4"), -1)
    count = judge_count(body, marks, carm=carm, start="below")
    assert "first sacral body was taken for L5" in count.text
    sixth = judge_count(body, [mark(body, carm, "S1", "L6"), mark(body, carm, "L5")], carm=carm)
    assert sixth.judgement == "right"


@pytest.mark.parametrize("pairs, last, by", ((11, "T11", 1), (13, "L1", -1)))
def test_another_number_of_ribs_misleads_the_count_from_above(carm, pairs, last, by):
    body = coarse(rib_pairs=pairs)
    assert f"{pairs} pairs of ribs" in ambiguity(body)[0]
    start = COLUMN.index(last)
    count = judge_count(body, shifted(body, carm, COLUMN[start : start + 3], by), carm=carm, start="above")
    assert count.judgement == "shifted"
    assert "last rib was taken for the twelfth" in count.text


def test_marks_are_checked(anatomy, carm):
    assert LevelMark(" t12 ", 1.0, 2.0).level == "T12"
    with pytest.raises(ValueError, match="level must be one of"):
        LevelMark("L7", 1.0, 2.0)
    with pytest.raises(ValueError, match="must be finite"):
        LevelMark("L3", float("nan"), 2.0)
    with pytest.raises(ValueError, match="at least one level"):
        judge_count(anatomy, [], carm=carm)
    with pytest.raises(ValueError, match="start must be one of"):
        judge_count(anatomy, [mark(anatomy, carm, "L3")], carm=carm, start="middle")
