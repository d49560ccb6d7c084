"""The rules of an attempt: every phase with every event, and what each event changes."""

from dataclasses import replace

import numpy as np
import pytest

from meshes.units import radians
from trainer.attempt import events as e
from trainer.attempt.state import PHASES, digest
from trainer.attempt.step import TABLE, begin, step

# Written from the rules, not read from the program: a row for each event, "-" where it is refused.
EXPECTED = """
                plan     picture  needle   lead     debrief
PlanNeedle      plan     picture  -        -        -
TakePicture     picture  picture  needle   lead     -
PlaceNeedle     -        needle   -        -        -
AdvanceNeedle   -        -        needle   -        -
RemoveNeedle    -        -        picture  -        -
PassLead        -        -        lead     -        -
AdvanceLead     -        -        -        lead     -
TurnLead        -        -        -        lead     -
RemoveLead      -        -        -        needle   -
FinishAttempt   debrief  debrief  debrief  debrief  -
"""
HEAD, *ROWS = [line.split() for line in EXPECTED.strip().splitlines()]
CASES = [(phase, row[0], row[1 + k]) for row in ROWS for k, phase in enumerate(HEAD)]
PICTURE = e.TakePicture(0.0, 0.0, "T12")


@pytest.fixture(scope="session")
def possible(finished):
    """Return for each kind of event one that can be done."""
    plan = next(event for event in finished.attempt.events if isinstance(event, e.PlanNeedle))
    moves = (PICTURE, e.AdvanceNeedle(-0.5), e.AdvanceLead(1.0), e.TurnLead(0.2))
    bare = (e.PlaceNeedle(), e.RemoveNeedle(), e.PassLead(), e.RemoveLead(), e.FinishAttempt())
    return {type(event).__name__: event for event in (plan, *moves, *bare)}


def test_the_table_names_every_phase_and_event():
    assert tuple(HEAD) == PHASES == tuple(TABLE)
    assert [row[0] for row in ROWS] == [kind.__name__ for kind in e.EVENTS]


@pytest.mark.parametrize(("phase", "name", "following"), CASES, ids=[f"{p}-{n}" for p, n, _ in CASES])
def test_every_phase_with_every_event(states, possible, phase, name, following):
    state = states[phase]
    before = digest(state)
    if following == "-":
        rule = "come before" if phase == "debrief" else f"be one of .* in the phase {phase}"
        with pytest.raises(ValueError, match=f"event must {rule}.*, got {name}"):
            step(state, possible[name])
    else:
        after = step(state, possible[name])
        assert after.phase == following
        assert after.event_count == state.event_count + 1
        assert digest(after) != before
    assert digest(state) == before


def test_a_thing_that_is_no_event_is_refused(states):
    with pytest.raises(ValueError, match="event must be one of .*, got str"):
        step(states["lead"], "advance 5")


def test_the_same_step_gives_the_same_bits(states):
    first, second = (step(states["lead"], e.AdvanceLead(2.0)) for _ in range(2))
    assert digest(first) == digest(second)
    assert first.lead.nodes.tobytes() == second.lead.nodes.tobytes()


# Planning


def test_only_a_needle_that_lies_on_the_table(states, possible):
    plan = possible["PlanNeedle"]
    with pytest.raises(ValueError, match="needle_length must be one of 89, 102, 114, 152, got 100"):
        step(states["plan"], replace(plan, needle_length=100.0))
    assert step(states["plan"], replace(plan, needle_length=89.0)).needle.length == 89.0


def test_only_an_approach_that_the_case_permits(states, possible):
    plan = possible["PlanNeedle"]
    with pytest.raises(
        ValueError, match="approach must be at most 35 degrees in this case, got 36.0: come in"
    ):
        step(states["plan"], replace(plan, approach=radians(36.0)))
    assert step(states["plan"], replace(plan, approach=radians(35.0))).aim.approach == radians(35.0)


def test_only_an_entry_on_the_back(states, possible):
    plan = possible["PlanNeedle"]
    for name, value in (("entry_x", 400.0), ("entry_z", -200.0)):
        with pytest.raises(ValueError, match=f"{name} must lie on the modelled back, .* got {value:g}"):
            step(states["plan"], replace(plan, **{name: value}))
    assert step(states["plan"], replace(plan, entry_x=100.0)).check.verdict == "fails"


def test_a_needle_needs_a_plan(states):
    with_picture = step(states["plan"], PICTURE)
    assert with_picture.phase == "picture"
    with pytest.raises(ValueError, match="aim must be planned before the needle is placed, got none"):
        step(with_picture, e.PlaceNeedle())


def test_a_picture_of_an_unknown_place_is_refused(states):
    with pytest.raises(ValueError, match="level must be one of"):
        step(states["plan"], e.TakePicture(0.0, 0.0, "C5"))
    with pytest.raises(ValueError, match="tilt_deg must lie between -60 and 60, got 80"):
        step(states["plan"], e.TakePicture(0.0, radians(80.0), "T12"))
    assert step(states["plan"], e.TakePicture(0.0, 0.0, "T12-L1")).pictures == (
        e.TakePicture(0.0, 0.0, "T12-L1"),
    )


# Needle


def at_the_skin(states):
    return step(states["picture"], e.PlaceNeedle())


def test_the_needle_moves_along_its_axis(states):
    state = step(step(at_the_skin(states), e.AdvanceNeedle(20.0)), e.AdvanceNeedle(-5.0))
    assert state.needle_depth == 15.0
    assert state.needle_passes == states["picture"].needle_passes + 1


def test_the_needle_stays_between_skin_and_hub(states):
    state = at_the_skin(states)
    with pytest.raises(
        ValueError, match="millimetres must leave the needle in the skin, got -1 at a depth of 0"
    ):
        step(state, e.AdvanceNeedle(-1.0))
    with pytest.raises(ValueError, match="millimetres must keep the hub out of the skin, got 300"):
        step(state, e.AdvanceNeedle(300.0))
    assert step(state, e.AdvanceNeedle(0.0)).needle_depth == 0.0


def test_bone_stops_the_needle_and_is_named(states, possible):
    plan = possible["PlanNeedle"]
    # From the midline straight in: the spinous process is in the way.
    planned = step(states["picture"], replace(plan, entry_x=0.0, medial=0.0))
    assert planned.check.first_bone is not None
    at_bone = step(step(planned, e.PlaceNeedle()), e.AdvanceNeedle(planned.needle.length))
    assert at_bone.needle_depth == planned.check.to_first_bone < planned.needle.length
    assert planned.check.first_bone in at_bone.touched_bone
    assert step(at_bone, e.AdvanceNeedle(-1.0)).touched_bone is None


def test_bone_in_front_of_the_canal_stops_the_needle(states, possible):
    """The canal is no deeper than 25 mm square to its axis, and the tip touches bone within 0.05 mm."""
    long = replace(possible["PlanNeedle"], needle_length=152.0)
    state = step(step(states["picture"], long), e.PlaceNeedle())
    check = state.check
    at_bone = step(state, e.AdvanceNeedle(state.needle.length - state.needle_depth))
    assert at_bone.needle_depth < state.needle.length
    assert "the body of" in at_bone.touched_bone
    assert check.to_dura < at_bone.needle_depth < check.to_epidural + 25.0 / np.sin(check.angle_to_canal)
    tip = check.entry + at_bone.needle_depth * check.direction
    assert abs(float(state.anatomy.packed.nearest(tip[None])[0]) - state.needle.outer_radius) < 0.05
    short = step(state, e.AdvanceNeedle(check.to_dura + 1.0 - state.needle_depth))
    assert short.touched_bone is None


def test_a_dural_puncture_is_counted_once_for_each_crossing(states):
    state, dura = states["needle"], states["needle"].check.to_dura
    through = step(state, e.AdvanceNeedle(dura + 0.5 - state.needle_depth))
    assert through.dural_punctures == state.dural_punctures + 1
    assert step(through, e.AdvanceNeedle(0.2)).dural_punctures == through.dural_punctures
    back = step(through, e.AdvanceNeedle(-1.0))
    assert back.dural_punctures == through.dural_punctures
    assert step(back, e.AdvanceNeedle(1.0)).dural_punctures == through.dural_punctures + 1


def test_a_lead_is_passed_only_in_the_epidural_space(states):
    state = states["needle"]
    check = state.check
    short = step(state, e.AdvanceNeedle(check.to_epidural - 1.0 - state.needle_depth))
    through = step(state, e.AdvanceNeedle(check.to_dura + 0.5 - state.needle_depth))
    for wrong in (short, through):
        with pytest.raises(
            ValueError, match="needle_depth must lie in the epidural space before a lead is passed"
        ):
            step(wrong, e.PassLead())
    assert step(state, e.PassLead()).lead.fed > 0.0


# Lead


def test_the_lead_leaves_the_mouth_where_the_needle_ends(states):
    passed = step(states["needle"], e.PassLead())
    check = passed.check
    tip = check.entry + passed.needle_depth * check.direction
    np.testing.assert_allclose(passed.lead.mouth.point, tip, atol=1e-9)
    np.testing.assert_allclose(passed.lead.mouth.direction, check.direction, atol=1e-9)


def test_the_largest_push_and_dent_of_the_attempt_are_kept(states):
    state = states["lead"]
    pushed = step(state, e.AdvanceLead(5.0))
    assert pushed.largest_push == max(state.largest_push, pushed.lead.push)
    removed = step(pushed, e.RemoveLead())
    assert removed.lead is None
    assert removed.largest_push == pushed.largest_push
    assert removed.largest_dent == pushed.largest_dent >= pushed.lead.largest_dent


def test_the_lead_cannot_be_pulled_into_the_needle(states):
    with pytest.raises(ValueError, match="millimetres must leave 4 to"):
        step(states["lead"], e.AdvanceLead(-states["lead"].lead.fed))


def test_the_seed_belongs_to_the_state(states):
    first = states["plan"]
    other = begin(first.scenario, seed=first.seed + 1, anatomy=first.anatomy)
    same = begin(first.scenario, anatomy=first.anatomy)
    assert digest(same) == digest(first) != digest(other)
