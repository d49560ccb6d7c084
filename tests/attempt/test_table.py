"""Every phase with every event: what the table allows leads on, everything else is refused untouched."""

from dataclasses import replace

import pytest

from trainer.attempt import events as e
from trainer.attempt.state import PHASES, Complication, Pose, digest
from trainer.attempt.step import ACTS, step
from trainer.attempt.table import TABLE
from trainer.physics.needle_turn import stylet

# Written from the rules, not read from the program: a row for each event, "-" where it is refused.
EXPECTED = """
                        plan     picture  needle   lead     test     secure   debrief
ReadItem                plan     picture  -        -        -        -        -
DeferCase               debrief  debrief  -        -        -        -        -
RefuseCase              debrief  debrief  -        -        -        -        -
CommitPlan              picture  picture  -        -        -        -        -
SetCArm                 -        picture  needle   lead     test     secure   -
TakePicture             -        picture  needle   lead     test     secure   -
StartLive               -        picture  needle   lead     test     secure   -
StopLive                -        picture  needle   lead     test     secure   -
MarkLevel               -        picture  needle   lead     test     secure   -
StorePose               -        picture  needle   lead     test     secure   -
RecallPose              -        picture  needle   lead     test     secure   -
AimNeedle               -        picture  needle   -        -        -        -
PlaceNeedle             -        needle   needle   -        -        -        -
PushNeedle              -        -        needle   -        -        -        -
WithdrawNeedle          -        -        needle   -        -        -        -
ReangleNeedle           -        -        needle   -        -        -        -
TurnBevel               -        -        needle   -        -        -        -
MoveNeedleStylet        -        -        needle   -        -        -        -
PressSyringe            -        -        needle   -        -        -        -
PushUnderPressure       -        -        needle   -        -        -        -
RemoveNeedle            -        -        picture  -        -        -        -
GiveLocalAnaesthetic    -        picture  needle   lead     test     secure   -
SetSedation             -        picture  needle   lead     test     secure   -
AskPatient              -        picture  needle   lead     test     secure   -
ChooseAfterComplication -        picture  needle   lead     test     secure   -
ChooseLead              -        -        needle   -        -        -        -
PassLead                -        -        lead     -        -        -        -
AdvanceLead             -        -        -        lead     -        -        -
TurnLead                -        -        -        lead     -        -        -
ChangeStylet            -        -        -        lead     -        -        -
InjectSaline            -        -        -        lead     -        -        -
RemoveLead              -        -        -        needle   -        -        -
TakeUpNeedle            -        needle   needle   needle   -        -        -
TakeUpLead              -        lead     lead     lead     lead     secure   -
PullStylet              -        -        -        -        -        secure   -
PullNeedle              -        -        -        -        -        secure   -
BeginTest               -        -        -        test     -        -        -
BeginSecuring           -        -        -        secure   secure   -        -
FinishAttempt           debrief  debrief  debrief  debrief  debrief  debrief  -
"""
HEAD, *ROWS = [line.split() for line in EXPECTED.strip().splitlines()]
CASES = [(phase, row[0], row[1 + k]) for row in ROWS for k, phase in enumerate(HEAD)]
POSE = Pose(0.0, 0.0, "T12")


@pytest.fixture(scope="session")
def possible(aimed):
    """Return for each kind of event one that can be done where `ready` has prepared the state for it."""
    found = (
        aimed,
        e.ReadItem("medicines"),
        e.DeferCase("infection"),
        e.RefuseCase("stenosis"),
        e.CommitPlan("T12-L1", "left", 114.0, "T8"),
        e.SetCArm(0.0, 0.0, "T12"),
        e.StopLive(2.0),
        e.MarkLevel("T12", 0.5, 0.5, "sacrum"),
        e.StorePose("AP"),
        e.RecallPose("AP"),
        e.PushNeedle(0.2),
        e.WithdrawNeedle(0.5),
        e.ReangleNeedle(aimed.approach, aimed.medial),
        e.TurnBevel(0.3),
        e.MoveNeedleStylet(False),
        e.PressSyringe("saline", 10.0, 0.5),
        e.PushUnderPressure(0.4, "air", 10.0, "braced"),
        e.GiveLocalAnaesthetic(2.0),
        e.SetSedation("light"),
        e.ChooseAfterComplication("stop"),
        e.ChooseLead(8.0, "straight"),
        e.AdvanceLead(1.0),
        e.TurnLead(0.2),
        e.ChangeStylet("straight"),
        e.InjectSaline(1.0),
        e.TakeUpNeedle("second"),
        e.TakeUpLead("first"),
    )
    bare = [kind() for kind in e.EVENTS if kind not in {type(event) for event in found}]
    return {type(event).__name__: event for event in (*found, *bare)}


def ready(state, event):
    """Return the state changed so that nothing but the phase can speak against the event."""
    room = replace(state.room, pose=POSE, shown=POSE, stored=(("AP", POSE),), live=False)
    kind = type(event)
    if kind is e.StopLive:
        room = replace(room, live=True)
    state = replace(state, room=room, complications=(Complication("dural puncture", 1),))
    if kind in (e.AimNeedle, e.PlaceNeedle):
        return state.with_placement(inside=None)
    if kind in (e.PressSyringe, e.PushUnderPressure) and state.placement.inside is not None:
        return state.with_placement(inside=stylet(state.placement.inside, inside=False))
    return state


def prepared(states, phase, event):
    """Return a state of the phase, with a lead in it where the event takes one up."""
    state = states[phase]
    if isinstance(event, e.TakeUpLead) and phase in ("picture", "needle"):
        with_lead = states["lead"].placements[0]
        state = replace(state, placements=(with_lead, state.placements[1]), active=1)
    return ready(state, event)


def test_the_table_names_every_phase_and_event():
    assert tuple(HEAD) == PHASES == tuple(TABLE)
    assert [row[0] for row in ROWS] == [kind.__name__ for kind in e.EVENTS]
    assert set(ACTS) == set(e.EVENTS)


@pytest.mark.parametrize(("phase", "name", "following"), CASES, ids=[f"{p}-{n}" for p, n, _ in CASES])
def test_every_phase_with_every_event(states, possible, phase, name, following):
    state = prepared(states, phase, possible[name])
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


def test_taking_back_is_no_step(states):
    with pytest.raises(ValueError, match="event must be one of .*, got Undo"):
        step(states["lead"], e.Undo())
