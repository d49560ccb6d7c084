"""What the events of needle and lead change, and what they refuse."""

from dataclasses import replace

import numpy as np
import pytest

from trainer.attempt import events as e
from trainer.attempt.state import digest
from trainer.attempt.step import begin, step


def test_the_same_step_gives_the_same_bits(states):
    first, second = (step(states["lead"], e.AdvanceLead(2.0)) for _ in range(2))
    assert digest(first) == digest(second)
    assert first.lead.nodes.tobytes() == second.lead.nodes.tobytes()


def test_the_seed_and_the_mode_belong_to_the_state(states):
    first = states["plan"]
    other = begin(first.scenario, seed=first.seed + 1, anatomy=first.anatomy)
    same = begin(first.scenario, anatomy=first.anatomy)
    judged = begin(first.scenario, anatomy=first.anatomy, mode="assessment")
    assert digest(same) == digest(first)
    assert len({digest(first), digest(other), digest(judged)}) == 3
    with pytest.raises(ValueError, match="mode must be one of practice, assessment, got 'exam'"):
        begin(first.scenario, anatomy=first.anatomy, mode="exam")


def test_numbers_that_are_none_are_refused(states):
    with pytest.raises(ValueError, match="millimetres must be a finite number, got nan"):
        step(states["lead"], e.AdvanceLead(float("nan")))
    assert step(states["lead"], e.AdvanceLead(1)).lead.fed == states["lead"].lead.fed + 1.0


# Needle


def placed(states):
    return step(states["picture"], e.PlaceNeedle())


def test_only_a_needle_that_lies_on_the_table(states, aimed):
    with pytest.raises(ValueError, match="needle_length must be one of 89, 102, 114, 152, got 100"):
        step(states["picture"], replace(aimed, needle_length=100.0))
    assert step(states["picture"], replace(aimed, needle_length=89.0)).needle.length == 89.0


def test_only_an_entry_on_the_back(states, aimed):
    for name, value in (("entry_x", 400.0), ("entry_z", -200.0)):
        with pytest.raises(ValueError, match=f"{name} must lie on the modelled back, .* got {value:g}"):
            step(states["picture"], replace(aimed, **{name: value}))
    assert step(states["picture"], replace(aimed, entry_x=100.0)).check.verdict == "fails"


def test_a_needle_is_aimed_before_it_is_placed(states):
    state = states["picture"].with_placement(aim=None)
    with pytest.raises(ValueError, match="aim must be given before the needle is placed, got none"):
        step(state, e.PlaceNeedle())


def test_the_needle_in_the_patient_is_not_aimed_again(states, aimed):
    with pytest.raises(ValueError, match="needle_depth must be none while a needle is aimed at the skin"):
        step(placed(states), aimed)


def test_the_needle_moves_along_its_axis(states):
    pushed = step(placed(states), e.PushNeedle(20.0))
    state = step(pushed, e.WithdrawNeedle(5.0))
    assert 15.0 < pushed.needle_depth < 25.0
    assert state.needle_depth == pytest.approx(pushed.needle_depth - 5.0, abs=0.5)
    assert state.needle_passes == states["picture"].needle_passes + 1


def test_the_needle_stays_between_skin_and_hub(states):
    state = placed(states)
    with pytest.raises(ValueError, match="millimetres must leave the needle in the skin, got 1 at a depth"):
        step(state, e.WithdrawNeedle(1.0))
    with pytest.raises(ValueError, match="millimetres must lie between .* mm, got 300"):
        step(state, e.PushNeedle(300.0))
    with pytest.raises(ValueError, match="grip must be one of loose, steady, braced, got 'iron'"):
        step(state, e.PushNeedle(1.0, "iron"))
    with pytest.raises(ValueError, match="millimetres must lie between 0.01 and"):
        step(state, e.PushNeedle(0.0))
    assert step(state, e.PushNeedle(0.2)).needle_depth < 1.0


def test_a_syringe_needs_an_open_needle(states):
    state = placed(states)
    with pytest.raises(ValueError, match="stylet must be out before a syringe is put on"):
        step(state, e.PressSyringe("saline", 10.0, 0.5))
    opened = step(state, e.MoveNeedleStylet(False))
    with pytest.raises(ValueError, match="medium must be one of saline, air, got 'water'"):
        step(opened, e.PressSyringe("water", 10.0, 0.5))
    assert step(opened, e.PressSyringe("air", 10.0, 0.5)).placement.felt in ("firm", "bounces", "gives")


def test_resistance_is_lost_where_the_lead_may_pass(states):
    state = step(states["needle"], e.MoveNeedleStylet(False))
    pressed = step(state, e.PressSyringe("saline", 10.0, 0.5))
    assert pressed.placement.felt == "lost"
    assert pressed.placement.saline > 0.0
    short = step(state, e.WithdrawNeedle(8.0))
    with pytest.raises(
        ValueError, match="the opening must lie in the epidural space before a lead is passed"
    ):
        step(short, e.PassLead())


def test_a_push_under_pressure_stops_where_resistance_is_lost(states):
    """Continuous pressure: the space is found in one push that no hand-made stop interrupts."""
    state = placed(states)
    state = step(state, e.PushNeedle(state.placement.to_flavum - 3.0, "braced"))
    with pytest.raises(ValueError, match="stylet must be out before a syringe is put on"):
        step(state, e.PushUnderPressure(15.0, "saline", 10.0, "braced"))
    before = step(state, e.MoveNeedleStylet(False))
    with pytest.raises(ValueError, match="medium must be one of saline, air, got 'water'"):
        step(before, e.PushUnderPressure(15.0, "water", 10.0, "braced"))
    with pytest.raises(ValueError, match="grip must be one of"):
        step(before, e.PushUnderPressure(15.0, "saline", 10.0, "iron"))
    found = step(before, e.PushUnderPressure(15.0, "saline", 10.0, "braced"))
    assert found.placement.felt == "lost" and found.placement.inside.in_epidural_space
    assert found.needle_depth < before.needle_depth + 15.0
    assert found.placement.counts.pushes == before.placement.counts.pushes + 1
    assert found.placement.saline > before.placement.saline == 0.0
    air = step(before, e.PushUnderPressure(15.0, "air", 10.0, "braced"))
    assert air.placement.felt == "lost" and air.placement.saline == 0.0


def pushed_on(state, most):
    """Return the states of pushing loosely on and on."""
    for _ in range(most):
        state = step(state, e.PushNeedle(3.0, "loose"))
        yield state
        if state.phase == "debrief":
            return


def test_a_puncture_is_a_complication_and_the_cord_ends_the_attempt(states):
    course = list(pushed_on(states["needle"], 8))
    kinds = [found.kind for found in course[-1].complications]
    assert any("puncture" in kind for kind in kinds)
    assert course[-1].phase == "debrief"
    assert course[-1].complications[-1].ends_attempt or any(f.ends_attempt for f in course[-1].complications)
    first = next(state for state in course if state.complications)
    assert first.dural_punctures == 1
    if first.phase != "debrief":
        with pytest.raises(ValueError, match="choice must be one of another level"):
            step(first, e.ChooseAfterComplication("shrug"))
        answered = step(first, e.ChooseAfterComplication("another level"))
        assert answered.complications[-1].choice == "another level"


def test_the_deep_patient_says_nothing(states):
    state = step(placed(states), e.SetSedation("deep"))
    assert state.placement.inside.patient.sedation == "deep"
    assert step(state, e.PushNeedle(5.0)).patient.words == ""


def test_a_needle_is_turned_in_the_fat_and_counted(states, aimed):
    state = step(placed(states), e.PushNeedle(10.0))
    turned = step(state, e.ReangleNeedle(aimed.approach + 0.05, aimed.medial))
    assert turned.placement.counts.redirections == 1
    assert turned.aim.approach == aimed.approach + 0.05
    assert not np.allclose(turned.placement.inside.direction, state.placement.inside.direction)


def test_a_needle_with_a_lead_in_it_is_not_removed_unseen(states):
    lead = states["lead"]
    with pytest.raises(ValueError, match="which must name a needle without a lead in it, got first"):
        step(lead, e.TakeUpNeedle("first"))
    assert step(lead, e.TakeUpNeedle("second")).active == 1


# Lead


def test_the_lead_leaves_the_mouth_where_the_needle_ends(states):
    passed = step(states["needle"], e.PassLead())
    assert passed.lead.fed > 0.0
    np.testing.assert_allclose(passed.lead.mouth.point, passed.placement.inside.opening_point, atol=1e-9)
    np.testing.assert_allclose(passed.lead.mouth.direction, passed.placement.inside.direction, atol=1e-9)


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


def test_the_second_lead_lies_beside_the_first(finished):
    state = finished.attempt.done[-2].state
    taken = step(state, e.TakeUpNeedle("second"))
    assert taken.phase == "needle"
    assert taken.placement.lead is None
    assert taken.placements[0] is state.placements[0]
    back = step(taken, e.TakeUpLead("first"))
    assert back.lead is state.lead


def test_after_the_needle_is_out_the_lead_is_not_fed(states):
    out = step(states["secure"], e.PullNeedle())
    assert out.needle_depth is None
    assert out.lead is not None
    with pytest.raises(ValueError, match="needle_depth must be a number while the lead is held, got none"):
        step(out, e.PullNeedle())


def test_another_stylet_and_saline_move_the_lead(states):
    state = states["lead"]
    straight = step(state, e.ChangeStylet("straight"))
    assert straight.placement.stylet == "straight"
    assert straight.lead.properties != state.lead.properties
    washed = step(state, e.InjectSaline(5.0))
    assert washed.placement.saline == state.placement.saline + 5.0
    assert washed.lead.nodes.tobytes() != state.lead.nodes.tobytes()
    with pytest.raises(ValueError, match="stylet must be one of curved, straight, got 'rope'"):
        step(state, e.ChangeStylet("rope"))


def test_stylet_and_needle_come_out_over_the_lead(states):
    bare = step(states["secure"], e.PullStylet())
    assert bare.lead.properties.bending_stiffness < states["secure"].lead.properties.bending_stiffness
    with pytest.raises(ValueError, match="stylet must be in the lead before it is pulled, got it out"):
        step(bare, e.PullStylet())
    out = step(bare, e.PullNeedle())
    assert out.placement.inside is None
    assert out.lead.fed > 0.0
