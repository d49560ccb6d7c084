"""What the events of plan, C-arm and patient change, and what they refuse."""

import pytest

from meshes.units import radians
from trainer.attempt import events as e
from trainer.attempt.exposure import thickness
from trainer.attempt.picture_acts import level_at_mark, place_of_level
from trainer.attempt.state import Pose
from trainer.attempt.step import step


def done(state, *events):
    for event in events:
        state = step(state, event)
    return state


def test_what_has_been_read_is_kept_once(states):
    state = done(states["plan"], e.ReadItem("medicines"), e.ReadItem("consent"), e.ReadItem("medicines"))
    assert state.plan.items_read == ("medicines", "consent")
    with pytest.raises(ValueError, match="item must be one of story, .*, got 'diary'"):
        step(state, e.ReadItem("diary"))


def test_a_case_is_put_off_for_a_reason(states):
    state = step(states["plan"], e.DeferCase("infection"))
    assert (state.phase, state.plan.decision, state.plan.reason) == ("debrief", "defer", "infection")
    with pytest.raises(ValueError, match="reason must be one of antithrombotics, .*, got 'no time'"):
        step(states["plan"], e.RefuseCase("no time"))


def test_a_plan_names_what_the_table_holds(states):
    state = step(states["plan"], e.CommitPlan("T12-L1", "right", 114.0, "T8"))
    assert (state.plan.interspace, state.plan.side, state.plan.target_level) == ("T12-L1", "right", "T8")
    with pytest.raises(ValueError, match="needle_length must be one of 89, 102, 114, 152, got 60"):
        step(states["plan"], e.CommitPlan("T12-L1", "left", 60.0, "T8"))
    with pytest.raises(ValueError, match="side must be left or right"):
        step(states["plan"], e.CommitPlan("T12-L1", "middle", 114.0, "T8"))
    with pytest.raises(ValueError, match="target_level must be one of T6"):
        step(states["plan"], e.CommitPlan("T12-L1", "left", 114.0, "S1"))


@pytest.fixture
def room(states):
    return done(states["plan"], e.CommitPlan("T12-L1", "left", 114.0, "T8"))


def test_pictures_and_seconds_are_counted(room):
    state = done(
        room, e.SetCArm(0.0, 0.0, "T12"), e.TakePicture(), e.StartLive(), e.StopLive(3.0), e.TakePicture()
    )
    assert (state.room.images, state.room.seconds, state.room.live) == (2, 3.0, False)
    once = done(room, e.SetCArm(0.0, 0.0, "T12"), e.TakePicture())
    assert state.room.kerma > once.room.kerma > 0.0
    assert state.room.dose.kerma_area > once.room.dose.kerma_area > 0.0


def test_shutters_spare_area_and_a_lateral_costs_more(room):
    def dose(**pose):
        return done(
            room, e.SetCArm(**{"orbit": 0.0, "tilt": 0.0, "centre": "T12", **pose}), e.TakePicture()
        ).room.dose

    wide, narrow, lateral = dose(), dose(across_open=0.5), dose(orbit=radians(90.0))
    assert narrow.kerma_area < 0.7 * wide.kerma_area
    assert narrow.air_kerma == wide.air_kerma
    assert lateral.air_kerma > 1.5 * wide.air_kerma
    with pytest.raises(ValueError, match="iris must lie between 0.1 and 1, got 0"):
        dose(iris=0.0)


def test_a_ray_through_a_closed_box_and_past_it():
    """Closed form: a box of 20 by 30 by 40 mm; a slant ray is longer by the cosine; two boxes add up."""
    import numpy as np
    import trimesh

    box = trimesh.creation.box((20.0, 30.0, 40.0))
    mesh = box.vertices, box.faces
    assert thickness(mesh, np.array([1.0, -500.0, 3.0]), np.array([0.0, 1.0, 0.0])) == pytest.approx(30.0)
    slant = np.array([0.0, np.cos(0.2), np.sin(0.2)])
    assert thickness(mesh, np.array([1.0, 0.0, 0.0]) - 200.0 * slant, slant) == pytest.approx(
        30.0 / np.cos(0.2)
    )
    assert thickness(mesh, np.array([11.0, -500.0, 3.0]), np.array([0.0, 1.0, 0.0])) == 0.0
    other = box.copy().apply_translation((0.0, 100.0, 0.0))
    both = trimesh.util.concatenate([box, other])
    along = thickness((both.vertices, both.faces), np.array([1.0, -500.0, 3.0]), np.array([0.0, 1.0, 0.0]))
    assert along == pytest.approx(60.0)


def test_no_picture_without_a_pose_and_no_light_twice(room):
    with pytest.raises(ValueError, match="pose must be set before a picture, got none"):
        step(room, e.TakePicture())
    live = done(room, e.SetCArm(0.0, 0.0, "T12"), e.StartLive())
    with pytest.raises(ValueError, match="live must be off before it is started"):
        step(live, e.StartLive())
    with pytest.raises(ValueError, match="seconds must lie between 0 and 600 s, got -1"):
        step(live, e.StopLive(-1.0))


def test_a_picture_of_an_unknown_place_is_refused(room):
    with pytest.raises(ValueError, match="level must be one of"):
        step(room, e.SetCArm(0.0, 0.0, "C5"))
    with pytest.raises(ValueError, match="tilt_deg must lie between"):
        step(room, e.SetCArm(0.0, radians(80.0), "T12"))
    with pytest.raises(ValueError, match="along_mm must lie between .* got 900: the base"):
        step(room, e.SetCArm(0.0, 0.0, "T12", along=900.0))


def test_the_table_travels(room):
    state = step(room, e.SetCArm(0.0, 0.0, "T12", along=25.0))
    column, row = place_of_level(state.anatomy, state.room.pose, "T12")
    home, level = place_of_level(state.anatomy, Pose(0.0, 0.0, "T12"), "T12")
    assert column == pytest.approx(home)
    assert row > level, "the C has moved towards the head, so the vertebra appears lower"


def test_a_mark_is_compared_with_the_vertebra_under_it(room):
    seen = done(room, e.SetCArm(0.0, 0.0, "T12"), e.TakePicture())
    place = place_of_level(seen.anatomy, seen.room.shown, "L1")
    marked = step(seen, e.MarkLevel("T12", *place, "ribs"))
    assert (marked.room.marks[-1].level, marked.room.marks[-1].true_level) == ("T12", "L1")
    assert level_at_mark(seen.anatomy, Pose(0.0, 0.0, "T9"), 0.5, 0.5) == "T9"
    with pytest.raises(ValueError, match="counted_from must be one of sacrum, ribs, got 'skull'"):
        step(seen, e.MarkLevel("T12", 0.5, 0.5, "skull"))
    with pytest.raises(ValueError, match="shown must be a picture before a level is marked"):
        step(room, e.MarkLevel("T12", 0.5, 0.5, "ribs"))


def test_poses_are_stored_and_found_again(room):
    state = done(
        room,
        e.SetCArm(0.0, 0.1, "T12"),
        e.StorePose("entry"),
        e.SetCArm(1.0, 0.0, "T8"),
        e.RecallPose("entry"),
    )
    assert state.room.pose == Pose(0.0, 0.1, "T12")
    with pytest.raises(ValueError, match="name must be that of a stored pose .entry., got 'target'"):
        step(state, e.RecallPose("target"))
    with pytest.raises(ValueError, match="name must hold 1 to 40 characters, got 0"):
        step(state, e.StorePose("  "))


def test_a_sleeping_patient_does_not_answer(states):
    awake = step(states["needle"], e.AskPatient())
    asleep = done(states["needle"], e.SetSedation("deep"), e.AskPatient())
    assert awake.patient.words != asleep.patient.words == "does not answer"
    with pytest.raises(ValueError, match="sedation must be one of awake, light, deep, got 'coma'"):
        step(awake, e.SetSedation("coma"))


def test_a_choice_answers_the_last_open_complication(states):
    with pytest.raises(ValueError, match="complications must hold one that is open, got none"):
        step(states["needle"], e.ChooseAfterComplication("stop"))
