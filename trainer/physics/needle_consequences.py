"""What has gone wrong with a needle, whether it ends the attempt, and what may be done next, to be judged.

Complications are read off two states, before and after an act; nothing here is drawn at random. The choices
are plain data: how each is rated is common practice unless a source stands beside it.
"""

from dataclasses import dataclass

from meshes.tables.loader import table
from trainer.physics.needle_push import touches_cord
from trainer.physics.needle_state import PUNCTURED
from trainer.physics.space_tests import back_flow, where_it_lies

GOOD, POSSIBLE, WRONG, DANGEROUS = RATINGS = ("good", "possible", "wrong", "dangerous")
PUNCTURE, INTRATHECAL, SUBDURAL = "dural puncture", "intrathecal tip", "subdural tip"
CORD_TOUCHED, ROOT_TOUCHED = "cord contact", "root contact"
BLEEDING, HARD_BONE = "bleeding", "bone struck hard"
LEAD_IN_SAC = "lead in the sac"
KINDS = (PUNCTURE, INTRATHECAL, SUBDURAL, CORD_TOUCHED, ROOT_TOUCHED, BLEEDING, HARD_BONE, LEAD_IN_SAC)


@dataclass(frozen=True)
class Choice:
    """Something that can be done next.

    Parameters
    ----------
    key : str
        Short name, for a log: "another level".
    words : str
        For a button.
    rating : str
        "good", "possible", "wrong" or "dangerous".
    why : str
        One sentence.
    status, source : str
        Of the rating, as in the tables.
    """

    key: str
    words: str
    rating: str
    why: str
    status: str = "common practice"
    source: str = ""


@dataclass(frozen=True)
class Complication:
    """Something that has happened.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    words : str
        What the trainee is told or sees.
    seen : bool
        Whether it shows by itself: a puncture behind a stylet does not.
    ends_attempt : bool
    """

    kind: str
    words: str
    seen: bool
    ends_attempt: bool = False

    @property
    def choices(self):
        """What may be done next: a tuple of Choice."""
        return CHOICES[self.kind]


def complications(before, after):
    """Return a tuple of the Complications of one act, the gravest first.

    Parameters
    ----------
    before, after : NeedleState
        Around the act. Taking the stylet out is an act too: a puncture is seen then.
    """
    found = []
    if touches_cord(after) and not touches_cord(before):
        found.append(Complication(CORD_TOUCHED, "The needle has touched the spinal cord.", True, True))
    found += _sac(before, after)
    if after.counts.root_contacts > before.counts.root_contacts:
        seen = bool(after.words)
        found.append(Complication(ROOT_TOUCHED, "The needle has touched a nerve root.", seen))
    if after.blood and (not before.blood or _opened(before, after)):
        seen = not after.stylet_inside
        found.append(Complication(BLEEDING, "Blood comes back through the needle.", seen))
    if after.counts.hard_bone_contacts > before.counts.hard_bone_contacts:
        found.append(Complication(HARD_BONE, "The needle presses hard on bone.", bool(after.words)))
    return tuple(found)


def _opened(before, after):
    return before.stylet_inside and not after.stylet_inside


def _sac(before, after):
    place, was = where_it_lies(after), where_it_lies(before)
    flow = back_flow(after)
    new = after.dura == PUNCTURED and before.dura != PUNCTURED
    if new or (after.counts.dural_punctures > before.counts.dural_punctures):
        words = flow.words.capitalize() + "." if flow.rate > 0.0 else "The needle has pierced the dura."
        yield Complication(PUNCTURE, words, flow.rate > 0.0)
    if place == "intrathecal" and (was != "intrathecal" or _opened(before, after)):
        yield Complication(INTRATHECAL, "The opening lies in the sac.", flow.rate > 0.0)
    # On the way back out of the sac nothing new has happened.
    if place == "subdural" and was in ("outside", "epidural"):
        yield Complication(SUBDURAL, "The tip lies between dura and arachnoid; no fluid flows.", False)


def _share(key):
    figure = table("reaction")[f"puncture.{key}"]
    return f"{figure.printed} % of physicians do so", figure.status, figure.source


def _puncture_choices():
    level, stop, same = (_share(key) for key in ("level_changed", "stopped", "same_level"))
    return (
        Choice("another level", "Take the needle out and enter at another level", GOOD, level[0], *level[1:]),
        Choice("stop", "Stop here and look after the patient", GOOD, stop[0], *stop[1:]),
        Choice("same level", "Take the needle out and enter at the same level", POSSIBLE, same[0], *same[1:]),
        Choice("pull back", "Pull back into the space and go on", WRONG, "the hole is under the lead's way"),
        Choice("go on", "Pass the lead now", DANGEROUS, "the lead would lie in the sac, beside the cord"),
    )


_PUNCTURE = _puncture_choices()
CHOICES = {
    PUNCTURE: _PUNCTURE,
    INTRATHECAL: _PUNCTURE,
    SUBDURAL: (
        Choice(
            "check",
            "Take the stylet out, look for fluid and take a lateral picture",
            GOOD,
            "no fluid flows yet",
        ),
        Choice(
            "another level", "Take the needle out and enter at another level", GOOD, "the dura is pierced"
        ),
        Choice("go on", "Pass the lead now", DANGEROUS, "the lead would lie under the dura"),
    ),
    CORD_TOUCHED: (
        Choice("stop", "Stop, examine the patient, call for help", GOOD, "a cord injury needs care at once"),
        Choice("pull back", "Pull back and go on", DANGEROUS, "the patient has not been examined"),
        Choice("go on", "Go on", DANGEROUS, "the needle stands in or on the cord"),
    ),
    ROOT_TOUCHED: (
        Choice(
            "pull back", "Pull back, ask the patient, turn toward the midline", GOOD, "the root frees itself"
        ),
        Choice(
            "picture", "Take a picture before anything moves", POSSIBLE, "the needle still lies on the root"
        ),
        Choice("sedate", "Deepen the sedation and go on", DANGEROUS, "the patient's warning is lost"),
        Choice("go on", "Push on", DANGEROUS, "the root would be pierced"),
    ),
    BLEEDING: (
        Choice(
            "wait",
            "Take the stylet out, let it drip, rinse and watch the legs",
            GOOD,
            "most stop by themselves",
        ),
        Choice(
            "another level",
            "Take the needle out and enter at another level",
            GOOD,
            "the vessel is left alone",
        ),
        Choice("stop", "Stop if it does not cease", POSSIBLE, "a haematoma presses on the cord within hours"),
        Choice("go on", "Go on without looking", WRONG, "blood in the space hides a haematoma"),
    ),
    LEAD_IN_SAC: (
        Choice(
            "take out",
            "Take lead and needle out and enter at another level",
            GOOD,
            "the sac is left to close",
        ),
        Choice("stop", "Take both out and look after the patient", GOOD, "fluid is lost through the hole"),
        Choice("test", "Test at a very low amplitude to be sure", POSSIBLE, "thresholds in the sac are low"),
        Choice("go on", "Leave the lead there", DANGEROUS, "it lies beside the cord, and the hole leaks"),
    ),
    HARD_BONE: (
        Choice(
            "pull back",
            "Pull back 5 mm, give local anaesthetic, turn and try again",
            GOOD,
            "walk off the bone",
        ),
        Choice("picture", "Take a picture to see which edge it is", GOOD, "the way past it can be chosen"),
        Choice("push", "Push harder", WRONG, "the shaft bends and the patient jerks"),
    ),
}
