"""How hard an interspace is: ranks as common practice has it, and rises with what makes a back hard."""

import numpy as np
import pytest
from scipy.stats import spearmanr

from meshes.anatomy import build_anatomy
from meshes.tables.loader import number, table
from meshes.units import radians
from trainer.physics.difficulty import TRAP, band_of, rate
from trainer.physics.needle import Needle
from trainer.physics.needle_check import check_needle
from trainer.physics.plan import plan_needle

LONG = Needle(152.0)
UP_TO_45 = {"needle": LONG, "largest_approach": radians(45.0)}


@pytest.fixture(scope="module")
def ratings(anatomy):
    return {name: rate(anatomy, name, **UP_TO_45) for name in ("T10-T11", "T11-T12", "T12-L1")}


def test_t10_is_the_trap_and_the_usual_interspaces_are_usable(ratings):
    """Common practice: T11-T12 and T12-L1 are the usual interspaces; T10-T11 looks open and is not."""
    trap = ratings["T10-T11"]
    assert trap.band == TRAP and trap.needle_band in ("hard", TRAP)
    for name in ("T11-T12", "T12-L1"):
        usable = ratings[name]
        assert usable.needle_band in ("easy", "usual") and usable.band in ("usual", "hard")
        assert usable.difficulty < trap.difficulty - 10.0
        assert usable.needle_difficulty < trap.needle_difficulty - 15.0


def test_the_best_aim_of_the_needle_is_not_the_leads(anatomy, ratings):
    """The needle's own best aim is easier, and need not suit the lead; the joint one does."""
    for rating in ratings.values():
        assert rating.needle_difficulty <= rating.joint.needle_difficulty + 1.0
        assert rating.needle_difficulty < rating.difficulty
        check = check_needle(anatomy, rating.joint.aim, LONG)
        assert (
            check.faultless and 1.95 <= check.lateral_offset <= 5.55 and 8.5 <= check.crossing_travel <= 30.5
        )
        assert check_needle(anatomy, rating.alone.aim, LONG).passes


def test_the_formula(ratings):
    """Difficulty = 100 (1 - (expert + novice) / 2), from the chances at the best aim."""
    joint = ratings["T12-L1"].joint
    mean = 0.5 * (joint.chance + joint.novice_chance)
    assert ratings["T12-L1"].difficulty == pytest.approx(100.0 * (1.0 - mean), abs=1e-12)
    for person in ("expert", "novice"):
        for kind in ("position", "angle"):
            assert table("needle")[f"aiming_error.{person}.{kind}"].status == "assumed"


def test_where_nothing_gets_through_all_passes_fail(anatomy):
    closed = rate(anatomy, "T12-L1", needle=Needle(60.0), largest_approach=radians(16.0))
    assert (closed.difficulty, closed.needle_difficulty, closed.band) == (100.0, 100.0, TRAP)
    assert closed.joint is None and closed.alone is None
    with pytest.raises(ValueError, match="interspace must be one of"):
        rate(anatomy, "T12")
    with pytest.raises(ValueError, match="side must be left or right"):
        rate(anatomy, "T12-L1", side="both")


def test_bands():
    easy, usual, hard = (number("needle", f"difficulty.{name}") for name in ("easy", "usual", "hard"))
    assert [band_of(d) for d in (easy - 1, easy, usual, hard)] == ["easy", "usual", "hard", TRAP]


def rises(values, difficulties):
    return spearmanr(values, difficulties).statistic


def test_difficulty_rises_with_body_mass(anatomy):
    masses = (20.0, 35.0, 45.0)
    found = [rate(anatomy.with_pose(body_mass_index=mass), "T12-L1", **UP_TO_45) for mass in masses]
    assert rises(masses, [rating.needle_difficulty for rating in found]) > 0.9
    assert rises(masses, [rating.difficulty for rating in found]) > 0.9


def alone(body, interspace):
    return plan_needle(body, interspace, for_lead=False, **UP_TO_45).needle_difficulty


def test_difficulty_rises_with_lordosis_beyond_the_optimum(anatomy):
    """At L2-L3 from a flat back on; at T12-L1 hardly before 50 degrees."""
    backs = {angle: anatomy.with_pose(lumbar_lordosis=radians(angle)) for angle in (30.0, 50.0, 75.0)}
    lumbar = [rate(back, "L2-L3", **UP_TO_45) for back in backs.values()]
    assert rises(list(backs), [rating.needle_difficulty for rating in lumbar]) > 0.9
    assert rises(list(backs), [rating.difficulty for rating in lumbar]) > 0.9
    upper = [alone(back, "T12-L1") for back in backs.values()]
    assert abs(upper[0] - upper[1]) < 4.0 and upper[2] > max(upper[:2]) + 5.0


@pytest.mark.parametrize("name, values", [("window_scale", (1.2, 0.75)), ("facet_hypertrophy", (0.0, 0.8))])
def test_difficulty_rises_with_narrow_windows_and_worn_joints(anatomy, name, values):
    bodies = [build_anatomy(anatomy.parameters.with_changes(**{name: value}), pitch=1.4) for value in values]
    easy, hard = (alone(body, "T12-L1") for body in bodies)
    assert hard > easy + 3.0


@pytest.mark.sweep
def test_difficulty_of_many_bodies_follows_what_makes_them_hard(anatomy):
    """Spearman over 30 drawn combinations: a sum of ranks of body mass, lordosis, joints and windows."""
    random, rows = np.random.default_rng(5), []
    for _ in range(30):
        mass, lordosis = random.uniform(20.0, 45.0), radians(random.uniform(45.0, 80.0))
        window, joints = random.uniform(0.7, 1.3), random.uniform(0.0, 1.0)
        changed = anatomy.parameters.with_changes(
            body_mass_index=mass, lumbar_lordosis=lordosis, window_scale=window, facet_hypertrophy=joints
        )
        found = rate(build_anatomy(changed, pitch=1.4), "L2-L3", **UP_TO_45)
        rows.append((mass, lordosis, -window, joints, found.needle_difficulty))
    ranks = np.argsort(np.argsort(np.array(rows), axis=0), axis=0)
    assert rises(ranks[:, :4].sum(axis=1), ranks[:, 4]) > 0.6
