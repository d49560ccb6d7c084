"""Measures of the needle: entry, angles, steps near the flavum, and what it touched."""

from meshes.levels import split_interspace
from meshes.units import degrees
from trainer.attempt import events as e
from trainer.physics.needle_consequences import CHOICES
from trainer.scoring.measure import measure

SENSIBLE = ("good", "possible")
PUSHES = (e.PushNeedle, e.PushUnderPressure)
NEAR_FLAVUM = 4.0  # before the flavum's back where steps begin to count [mm]


def _checks(log):
    """Return the checks of the needles through which a lead was passed."""
    return [act.before.check for act in log.passed]


def _largest(values):
    return max(values, default=None)


@measure("Approach angle to the skin, the steepest needle used", unit="deg")
def approach_angle(log):
    return _largest(degrees(check.angle_to_skin) for check in _checks(log))


@measure("Angle to the canal, the steepest needle used", unit="deg")
def canal_angle(log):
    return _largest(degrees(check.angle_to_canal) for check in _checks(log))


@measure("Medial angle, the widest needle used", unit="deg")
def medial_angle(log):
    return _largest(degrees(act.before.aim.medial) for act in log.passed)


@measure("Skin entry below the interspace", unit="levels")
def entry_below(log):
    """Count in heights of the vertebra below the interspace."""
    found = []
    for act in log.passed:
        check = act.before.check
        _, lower = split_interspace(check.aim.interspace)
        spans = {level: (bottom, top) for level, bottom, top in log.anatomy.canal.level_spans}
        if lower in spans and check.epidural_entry is not None:
            height = spans[lower][1] - spans[lower][0]
            found.append(float(check.epidural_entry[2] - check.entry[2]) / height)
    return _largest(found)


@measure("Skin entry beside the spinous processes", unit="mm")
def entry_beside(log):
    midline = log.anatomy.tissue.midline
    return _largest(abs(float(check.aim.entry_x - midline(check.aim.entry_z))) for check in _checks(log))


@measure("Tip off the midline where it enters the canal, the farthest needle used", unit="mm")
def tip_offset(log):
    offsets = [check.lateral_offset for check in _checks(log)]
    return _largest(abs(offset) for offset in offsets if offset is not None)


@measure("Needle is long enough for the space with its hub outside")
def needle_reaches(log):
    return True if log.passed else (False if log.used else None)


@measure("Contacts with bone")
def bone_contacts(log):
    return float(sum(one.counts.bone_contacts for one in log.used)) if log.used else None


@measure("Redirections of the needle: re-angled, or put in again")
def needle_redirections(log):
    if not log.used:
        return None
    return float(sum(one.counts.redirections + one.passes - 1 for one in log.used))


@measure("Longest advance near the flavum between two checks of resistance", unit="mm")
def unchecked_step(log):
    """Sum pushes between two presses of the syringe from shortly before the flavum to the loss.

    A push under pressure is checked all the way.
    """
    longest, since, pushed = 0.0, {}, False
    for act in log.acts_of(e.PushNeedle, e.PressSyringe, e.PushUnderPressure, e.PlaceNeedle):
        active = act.after.active
        if not isinstance(act.event, e.PushNeedle):
            since[active] = 0.0
            continue
        near = _near_canal(act)
        if near:
            pushed = True
            since[active] = since.get(active, 0.0) + near
            longest = max(longest, since[active])
    return longest if pushed else None


def _near_canal(act):
    """Return how much of a push lay between shortly before the flavum and the epidural space. [mm]"""
    flavum, epidural = act.before.placement.to_flavum, act.before.placement.to_epidural
    if epidural is None:
        return 0.0
    begin = (flavum if flavum is not None else epidural) - NEAR_FLAVUM
    low, high = max(act.before.needle_depth, begin), min(act.after.needle_depth, epidural)
    return max(0.0, high - low)


@measure("Opening deepest beyond the first millimetre of the epidural space", unit="mm")
def overshoot(log):
    deepest = None
    for act in log.acts_of(*PUSHES):
        placement = act.after.placement
        if placement.to_epidural is not None:
            past = placement.inside.opening_depth - placement.to_epidural - 1.0
            deepest = past if deepest is None else max(deepest, past)
    return None if deepest is None else max(deepest, 0.0)


@measure("Share of the pushes near the canal with a braced hand", unit="%")
def braced_pushes(log):
    near = [act.event.grip == "braced" for act in log.acts_of(*PUSHES) if _near_canal(act) > 0.0]
    return 100.0 * sum(near) / len(near) if near else None


@measure("Contacts with dura or cord")
def dural_contacts(log):
    if not log.used:
        return None
    return float(sum(one.counts.dural_punctures + one.counts.cord_contacts for one in log.used))


@measure("Complications answered sensibly")
def complications_answered(log):
    """Judge those that could be seen, and what was chosen by the ratings of needle_consequences."""
    return all(_sensible(one) for one in log.last.complications if one.seen)


def _sensible(complication):
    ratings = {choice.key: choice.rating for choice in CHOICES[complication.kind]}
    return ratings.get(complication.choice) in SENSIBLE
