"""Measures of the C-arm: how well it was lined up, when it was used, how much."""

from functools import lru_cache

from meshes.levels import split_interspace
from meshes.units import degrees, radians
from trainer.attempt import events as e
from trainer.attempt.picture_acts import c_arm
from trainer.physics.picture_reading import read_endplates, read_spinous
from trainer.scoring.measure import measure

FRONTAL_WITHIN = radians(25.0)  # of orbit 0 a picture counts as frontal
LATERAL_WITHIN = radians(15.0)  # of orbit 90 as lateral
OBLIQUE = radians(35.0), radians(70.0)
NEAR_CANAL = 12.0  # of the needle's way before the canal where a picture of depth is of use [mm]
MICROGRAY_PRINT = "Wininger, Pain Physician 2010;13:7"


def is_frontal(pose):
    """Return whether a pose shows the patient from behind."""
    return abs(pose.orbit) <= FRONTAL_WITHIN


def is_lateral(pose):
    """Return whether a pose shows the patient from the side."""
    return abs(abs(pose.orbit) - radians(90.0)) <= LATERAL_WITHIN


def shows_depth(pose):
    """Return whether a pose is lateral or oblique enough to read a needle's depth."""
    return is_lateral(pose) or OBLIQUE[0] <= abs(pose.orbit) <= OBLIQUE[1]


def _pictures(log):
    """Return the acts that put a new picture on the screen."""
    return log.acts_of(e.TakePicture, e.StopLive)


@lru_cache(maxsize=4096)
def _readings(anatomy, pose, level):
    carm = c_arm(anatomy, pose)
    return read_endplates(anatomy, level, carm=carm), read_spinous(anatomy, level, carm=carm)


def _best_frontal(log):
    """Return the readings of the frontal picture that shows the entry level best before the puncture."""
    level = split_interspace(log.last.plan.interspace or log.task.interspace)[0]
    poses = {
        act.after.room.shown
        for act in log.acts[: log.first_puncture]
        if isinstance(act.event, e.TakePicture | e.StopLive) and is_frontal(act.after.room.shown)
    }
    readings = [_readings(log.anatomy, pose, level) for pose in poses]
    return min(readings, key=lambda pair: abs(pair[0].mean), default=None)


@measure("End plates of the entry level squared: angle left, best frontal picture before entry", unit="deg")
def squared_entry(log):
    best = _best_frontal(log)
    return None if best is None else abs(degrees(best[0].mean))


@measure("Spinous process off the middle of the pedicles, in the same picture", unit="%")
def spinous_central(log):
    best = _best_frontal(log)
    return None if best is None or best[1].share != best[1].share else abs(100.0 * best[1].share)


def _way_left(state):
    """Return how far the needle's tip still is from the epidural space [mm], or None."""
    placement = state.placement
    if placement.inside is None or placement.to_epidural is None:
        return None
    return placement.to_epidural - placement.depth


@measure("Depth seen in a lateral or oblique picture before the canal was entered, for every needle")
def depth_seen_before(log):
    return _for_every_needle(log, lambda left: 0.0 < left <= NEAR_CANAL)


@measure("Depth seen in a lateral or oblique picture after the canal was entered, for every needle")
def depth_seen_after(log):
    return _for_every_needle(log, lambda left: left <= 0.0)


def _for_every_needle(log, there):
    if not log.passed:
        return None
    seen = set()
    for act in _pictures(log):
        state = act.after
        left = _way_left(state)
        if left is not None and state.lead is None and there(left) and shows_depth(state.room.shown):
            seen.add(state.active)
    return {act.after.active for act in log.passed} <= seen


@measure("Lead looked at from the side after its last move")
def lateral_at_end(log):
    if not log.passed:
        return None
    moves = [k for k, act in enumerate(log.acts) if isinstance(act.event, e.AdvanceLead | e.TurnLead)]
    after = log.acts[moves[-1] + 1 :] if moves else ()
    return any(
        isinstance(act.event, e.TakePicture | e.StopLive) and is_lateral(act.after.room.shown)
        for act in after
    )


@measure("Single pictures")
def images(log):
    return float(log.last.room.images)


@measure("Live picture", unit="s", status="published", source=MICROGRAY_PRINT)
def beam_seconds(log):
    return float(log.last.room.seconds)


@measure("Air kerma at the skin, estimated", unit="mGy", status="published", source=MICROGRAY_PRINT)
def kerma(log):
    return float(log.last.room.kerma)
