"""Measures of logs: what a performer is known to have done is what is measured."""

import numpy as np
import pytest

from meshes.units import degrees, radians
from trainer.attempt import events as e
from trainer.attempt.picture_acts import place_of_level
from trainer.physics.readings import read_lead
from trainer.scoring.measure import MEASURES, NOT_ASKED
from trainer.scoring.measures import measure_all

PLAN = e.CommitPlan("T12-L1", "left", 114.0, "T8")


def take(name, log):
    return MEASURES[name].take(log)


def test_every_measure_can_be_taken_of_every_log(logs, after):
    plain = (float, bool, type(None), type(NOT_ASKED))
    for log in (*logs.values(), after(), after(PLAN), after(e.DeferCase("infection"))):
        values = measure_all(log)
        assert set(values) == set(MEASURES)
        for name, value in values.items():
            assert isinstance(value, plain), name
            assert not isinstance(value, float) or np.isfinite(value), name


def test_the_same_log_gives_the_same_values(logs):
    assert measure_all(logs["expert"]) == measure_all(logs["expert"])


def test_what_was_read_and_decided(after):
    log = after(e.ReadItem("medicines"), e.ReadItem("consent"), PLAN)
    assert take("safety_items_read", log) is False
    assert take("card_read", log) == pytest.approx(100.0 * 2 / 9)
    assert take("decision_right", log) is True
    assert take("decision_right", after(e.RefuseCase("stenosis"))) is False
    assert take("interspace_suits", log) is True
    assert take("interspace_suits", after(e.CommitPlan("L3-L4", "left", 114.0, "T8"))) is False
    assert take("target_suits", after(e.CommitPlan("T12-L1", "left", 114.0, "T10"))) is False


def test_marks_are_counted_both_ways(after):
    log = after(PLAN, e.SetCArm(0.0, 0.0, "L1"), e.TakePicture())
    pose, anatomy = log.last.room.shown, log.anatomy
    marks = [
        e.MarkLevel("L1", *place_of_level(anatomy, pose, "L1"), "sacrum"),
        e.MarkLevel("T11", *place_of_level(anatomy, pose, "T12"), "ribs"),
    ]
    seen = (PLAN, e.SetCArm(0.0, 0.0, "L1"), e.TakePicture())
    assert take("counted_both_ways", after(*seen, *marks)) is True
    assert take("counted_both_ways", after(*seen, marks[0])) is False
    assert take("marks_right", after(*seen, *marks)) == 50.0
    assert take("marks_right", after(*seen)) is None


def test_the_squared_picture_is_the_best_one_before_the_puncture(after, logs):
    tilted = after(PLAN, e.SetCArm(0.0, radians(20.0), "T12"), e.TakePicture())
    worse = take("squared_entry", tilted)
    better = take("squared_entry", after(PLAN, e.SetCArm(0.0, radians(10.0), "T12"), e.TakePicture()))
    # The ray through a plate is not quite the middle ray.
    assert worse - better == pytest.approx(10.0, abs=0.5)
    assert take("squared_entry", after(PLAN, e.SetCArm(1.5, 0.0, "T12"), e.TakePicture())) is None
    assert take("squared_entry", logs["expert"]) < 5.0


def test_pictures_seconds_and_kerma(after):
    log = after(PLAN, e.SetCArm(0.0, 0.0, "T12"), e.TakePicture(), e.StartLive(), e.StopLive(4.0))
    assert (take("images", log), take("beam_seconds", log)) == (1.0, 4.0)
    assert take("kerma", log) == log.last.room.kerma > 0.0


def test_angles_and_offset_are_those_of_the_used_needle(logs):
    check = logs["expert"].passed[-1].before.check
    assert take("approach_angle", logs["expert"]) == pytest.approx(degrees(check.aim.approach), abs=0.01)
    assert take("canal_angle", logs["expert"]) == pytest.approx(degrees(check.angle_to_canal))
    assert take("tip_offset", logs["expert"]) == pytest.approx(abs(check.lateral_offset))
    assert take("approach_angle", logs["steep"]) > 55.0


def test_a_needle_off_the_midline_is_measured_where_a_lead_was_passed(logs):
    offset = take("tip_offset", logs["off-midline"])
    if logs["off-midline"].passed:
        assert offset > take("tip_offset", logs["expert"]) + 0.8
    else:
        assert offset is None


def test_the_look_from_the_side(logs):
    for name in ("depth_seen_before", "depth_seen_after", "lateral_at_end"):
        assert take(name, logs["expert"]) is True
        assert take(name, logs["no-lateral"]) is False


def test_steps_and_overshoot_near_the_flavum(logs):
    assert take("unchecked_step", logs["expert"]) <= 2.0
    assert take("unchecked_step", logs["impatient"]) > 5.0
    assert take("overshoot", logs["impatient"]) > take("overshoot", logs["expert"])
    assert take("braced_pushes", logs["expert"]) == 100.0
    assert take("braced_pushes", logs["impatient"]) == 0.0


def test_the_lead_is_measured_as_it_is_read(logs):
    log = logs["expert"]
    reading = read_lead(log.last.lead, log.anatomy)
    assert take("dorsal_contacts", log) == 100.0
    assert take("tip_level_error", log) < 0.2
    offsets = [abs(contact.cord_offset - 1.5) for contact in reading.contacts]
    assert take("cord_offset", log) == pytest.approx(float(np.mean(offsets)))
    fed = sum(abs(event.millimetres) for event in (a.event for a in log.acts_of(e.AdvanceLead)))
    assert take("lead_path", log) == pytest.approx(fed)


def test_what_a_case_with_one_lead_does_not_ask_for(logs):
    for name in ("separation", "stagger", "crossings"):
        assert take(name, logs["expert"]) is NOT_ASKED


def test_withdrawals_are_counted_as_pulls_not_as_steps(logs, performed):
    moves = [event.millimetres for event in performed["steep"].events if isinstance(event, e.AdvanceLead)]
    pulls = sum(now < 0.0 <= before for before, now in zip([0.0, *moves], moves))
    assert take("lead_withdrawals", logs["steep"]) == pulls > 0


def test_time_is_that_of_the_stamps(after, logs):
    log = after(e.ReadItem("story"), PLAN, stamps=(30.0, 90.0))
    assert take("duration", log) == 1.0
    assert take("duration", after(e.ReadItem("story"), PLAN, stamps=(None, None))) is None
    assert take("lead_smoothness", logs["expert"]) < 0.0
