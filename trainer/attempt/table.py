"""Which event may follow where: phase -> kind of event -> phase. What is not named here is refused."""

from trainer.attempt import events as e

_PICTURES = (*e.PICTURE_EVENTS,)
_PATIENT = (*e.PATIENT_EVENTS,)


def _stay(phase, *kinds):
    return dict.fromkeys(kinds, phase)


TABLE = {
    "plan": {
        **_stay("plan", e.ReadItem),
        e.CommitPlan: "picture",
        e.DeferCase: "debrief",
        e.RefuseCase: "debrief",
        e.FinishAttempt: "debrief",
    },
    "picture": {
        # The card stays on the wall, and the plan may be changed while nothing is in the patient.
        **_stay("picture", *_PICTURES, *_PATIENT, e.ReadItem, e.CommitPlan, e.AimNeedle),
        e.DeferCase: "debrief",
        e.RefuseCase: "debrief",
        e.PlaceNeedle: "needle",
        e.TakeUpNeedle: "needle",
        e.TakeUpLead: "lead",
        e.FinishAttempt: "debrief",
    },
    "needle": {
        **_stay("needle", *_PICTURES, *_PATIENT, *e.NEEDLE_EVENTS, e.ChooseLead, e.TakeUpNeedle),
        e.RemoveNeedle: "picture",
        e.PassLead: "lead",
        e.TakeUpLead: "lead",
        e.FinishAttempt: "debrief",
    },
    "lead": {
        **_stay(
            "lead",
            *_PICTURES,
            *_PATIENT,
            e.AdvanceLead,
            e.TurnLead,
            e.ChangeStylet,
            e.InjectSaline,
            e.TakeUpLead,
        ),
        e.RemoveLead: "needle",
        e.TakeUpNeedle: "needle",
        e.BeginTest: "test",
        e.BeginSecuring: "secure",
        e.FinishAttempt: "debrief",
    },
    "test": {
        **_stay("test", *_PICTURES, *_PATIENT),
        e.TakeUpLead: "lead",
        e.BeginSecuring: "secure",
        e.FinishAttempt: "debrief",
    },
    "secure": {
        **_stay("secure", *_PICTURES, *_PATIENT, e.TakeUpLead, e.PullStylet, e.PullNeedle),
        e.FinishAttempt: "debrief",
    },
    "debrief": {},
}


def following(phase, event):
    """Return the phase that follows an event.

    Raises
    ------
    ValueError
        If the event is not allowed in the phase.
    """
    after = TABLE[phase].get(type(event))
    if after is None:
        raise ValueError(_refusal(phase, event))
    return after


def _refusal(phase, event):
    allowed, came = [kind.__name__ for kind in TABLE[phase]], type(event).__name__
    if not allowed:
        return f"event must come before FinishAttempt, got {came} after it: begin a new attempt"
    return f"event must be one of {', '.join(allowed)} in the phase {phase}, got {came}: choose one of these"
