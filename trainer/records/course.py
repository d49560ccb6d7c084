"""The course of an attempt in words: its acts, neighbours of one kind together, with the faults."""

from dataclasses import dataclass
from itertools import groupby

from trainer.attempt import events as e
from trainer.scoring.moments import moments_of

MOVES = {
    e.PushNeedle: "Advanced the needle",
    e.PushUnderPressure: "Advanced the needle under pressure",
    e.WithdrawNeedle: "Withdrew the needle",
    e.AdvanceLead: "Advanced the lead",
}
WORDS = {
    e.ReadItem: "Read the card",
    e.DeferCase: "Put the case off",
    e.RefuseCase: "Declined the case",
    e.CommitPlan: "Committed to a plan",
    e.SetCArm: "Moved the C-arm",
    e.TakePicture: "Took a picture",
    e.StartLive: "Started the live picture",
    e.StopLive: "Stopped the live picture",
    e.MarkLevel: "Marked a level",
    e.StorePose: "Stored a pose of the C-arm",
    e.RecallPose: "Went back to a stored pose",
    e.AimNeedle: "Aimed the needle",
    e.PlaceNeedle: "Put the needle through the skin",
    e.ReangleNeedle: "Re-angled the needle",
    e.TurnBevel: "Turned the bevel",
    e.MoveNeedleStylet: "Moved the needle's stylet",
    e.PressSyringe: "Pressed the syringe",
    e.GiveLocalAnaesthetic: "Gave local anaesthetic",
    e.SetSedation: "Set the sedation",
    e.AskPatient: "Asked the patient",
    e.RemoveNeedle: "Took the needle out",
    e.ChooseAfterComplication: "Chose what to do after a complication",
    e.ChooseLead: "Chose a lead",
    e.PassLead: "Passed the lead through the needle",
    e.TurnLead: "Turned the hub",
    e.ChangeStylet: "Changed the stylet",
    e.InjectSaline: "Injected saline",
    e.RemoveLead: "Took the lead out",
    e.TakeUpNeedle: "Took up a needle",
    e.TakeUpLead: "Took up a lead",
    e.PullStylet: "Pulled the stylet out",
    e.PullNeedle: "Pulled the needle out over the lead",
    e.BeginTest: "Began the test",
    e.BeginSecuring: "Began to secure the lead",
    e.FinishAttempt: "Finished",
}

STEPS = (e.PushNeedle, e.PressSyringe)


@dataclass(frozen=True)
class Stretch:
    """Neighbouring acts of one kind.

    Parameters
    ----------
    first, last : int
        Their numbers in the log, counted from 1.
    phase : str
    stamp : float or None
        When the first happened. [s]
    words : str
    faults : tuple of str
        What went wrong here, in words.
    """

    first: int
    last: int
    phase: str
    stamp: float | None
    words: str
    faults: tuple = ()

    @property
    def clock(self):
        """Minutes and seconds of the first act, or ""."""
        return "" if self.stamp is None else f"{int(self.stamp) // 60}:{int(self.stamp) % 60:02d}"


def course(events):
    """Return the acts of an attempt in order in words, neighbours of one kind counted together."""
    return [_act(kind, list(group)) for kind, group in groupby(events, key=_kind)]


def stretches(log):
    """Return the tuple of Stretch of a Log, in order; the faults stand where they happened."""
    faults = {}
    for moment in moments_of(log):
        if moment.fault:
            faults.setdefault(moment.act, []).append(moment.words)
    found = []
    for kind, group in groupby(enumerate(log.acts), key=lambda pair: _step_kind(pair[1].event)):
        numbers, acts = zip(*group, strict=True)
        told = (words for number in numbers for words in faults.get(number, ()))
        events = [act.event for act in acts]
        words = _steps(events) if kind == STEPS else _act(kind, events)
        first = acts[0]
        found.append(
            Stretch(numbers[0] + 1, numbers[-1] + 1, first.before.phase, first.stamp, words, _counted(told))
        )
    return tuple(found)


def phase_spans(log):
    """Return [(phase, first act, acts)] of the phases of a Log in order, for a line of time."""
    spans, start = [], 0
    for phase, group in groupby(log.acts, key=lambda act: act.before.phase):
        many = len(list(group))
        spans.append((phase, start, many))
        start += many
    return spans


def _counted(words):
    """Return a tuple of words without repetition, each with how often it was said."""
    counts = {}
    for word in words:
        counts[word] = counts.get(word, 0) + 1
    return tuple(word if n == 1 else f"{word}, {n} times" for word, n in counts.items())


def _kind(event):
    moved = getattr(event, "millimetres", 0.0)
    return type(event), moved < 0.0


def _step_kind(event):
    """Steps of the needle and tests with the syringe between them are one kind."""
    return STEPS if isinstance(event, STEPS) else _kind(event)


def _steps(events):
    pushes = [event for event in events if isinstance(event, e.PushNeedle)]
    if len(pushes) in (0, len(events)):
        return _act(_kind(events[0]), events)
    pressed = len(events) - len(pushes)
    times = "once" if pressed == 1 else f"{pressed} times"
    return f"{_act(_kind(pushes[0]), pushes)} in {len(pushes)} steps, the syringe pressed {times}"


def _act(kind, group):
    kind, back = kind
    if kind in MOVES:
        total = abs(sum(event.millimetres for event in group))
        return f"{'Withdrew the lead' if back else MOVES[kind]} {total:.1f} mm"
    return WORDS[kind] if len(group) == 1 else f"{WORDS[kind]}, {len(group)} times"
