"""The moments of an attempt that are worth going back to, in words."""

from dataclasses import dataclass

from trainer.attempt import events as e

FORCED = 1.0  # [N]
PART_ENDS = {"plan": e.CommitPlan, "picture": e.PlaceNeedle, "needle": e.PassLead}
# What a measure is about, by a word in its name.
ABOUT = (
    ("bone", "bone"),
    ("dura", "dura"),
    ("forced", "forced"),
    ("push", "forced"),
    ("count", "level"),
    ("level", "level"),
    ("redirect", "turned"),
    ("approach", "skin"),
    ("medial", "skin"),
    ("entry", "skin"),
    ("lateral", "picture"),
    ("picture", "picture"),
    ("square", "picture"),
    ("overshoot", "lead in"),
)


@dataclass(frozen=True)
class Moment:
    """A moment.

    Parameters
    ----------
    act : int
        Index of the act in the log.
    about : str
        What happened: "bone", "dura", "forced", "level", "turned", "skin", "picture", "lead in".
    words : str
    fault : str
        "missed", "near" or "".
    """

    act: int
    about: str
    words: str
    fault: str = ""


def moments_of(log):
    """Return the Moments of a Log, in order."""
    found = []
    for index, act in enumerate(log.acts):
        found += [Moment(index, *what) for what in _happened(act)]
    return found


def _happened(act):
    """Yield (about, words, fault) of one act."""
    before, after, event = act.before, act.after, act.event
    if isinstance(event, e.TakePicture):
        yield "picture", "One picture", ""
    elif isinstance(event, e.PlaceNeedle):
        yield "skin", "Through the skin", ""
    elif isinstance(event, e.PassLead):
        yield "lead in", "Lead through the needle", ""
    elif isinstance(event, e.MarkLevel):
        mark = after.room.marks[-1]
        truly = mark.true_level.replace("-", "–")
        yield "level", f"{mark.level} marked on {truly}", "" if mark.level == mark.true_level else "missed"
    elif isinstance(event, e.ReangleNeedle):
        yield "turned", "Needle turned in the tissue", ""
    if _counted(after, "bone_contacts") > _counted(before, "bone_contacts"):
        yield "bone", "Bone touched", "near"
    if after.dural_punctures > before.dural_punctures:
        yield "dura", "The dura is open", "missed"
    if after.largest_push > max(before.largest_push, FORCED):
        yield "forced", "Lead forced", "near"


def moment_of(item, log, moments):
    """Return the index of the act that a criterion is about, or the end of its part of the attempt."""
    about = next((about for word, about in ABOUT if word in item.measure), None)
    matching = [m for m in moments if m.about == about]
    if matching:
        faulty = [m for m in matching if m.fault]
        return (faulty or matching)[0].act
    end = PART_ENDS.get(item.part)
    ends = [index for index, act in enumerate(log.acts) if end and isinstance(act.event, end)]
    return ends[-1] if ends else max(len(log.acts) - 1, 0)


def _counted(state, what):
    return sum(getattr(placement.counts, what) for placement in state.placements)
