"""What the events of the C-arm do."""

from dataclasses import asdict, replace

import numpy as np

from meshes.levels import check_level
from meshes.tables.loader import number
from trainer.attempt import events as e
from trainer.attempt.picture_events import COUNTED_FROM
from trainer.attempt.refusals import inside, one_of
from trainer.attempt.state import LevelMark, Pose
from trainer.physics.level_count import level_at
from trainer.physics.xray_carm import CArm, isocentre_at

LARGEST_SWIVEL = 0.5
FIELDS = ("full", "middle", "small")
TRAVEL = 400.0  # of the table from the level at the isocentre [mm]
LONGEST_BEAM = 600.0  # of one stretch of live picture [s]
LONGEST_NAME = 40
MOST_POSES = 12


def c_arm(anatomy, pose, **changes):
    """Return the CArm of a Pose; raises ValueError if it cannot stand like that."""
    centre = isocentre_at(anatomy, pose.centre) + np.array([pose.across, pose.height, pose.along])
    return CArm(tuple(centre.tolist()), pose.orbit, pose.tilt, **changes)


def _set_c_arm(state, event):
    inside("along", event.along, -TRAVEL, TRAVEL)
    inside("across", event.across, -TRAVEL, TRAVEL)
    inside("height", event.height, -TRAVEL, TRAVEL)
    inside("swivel", event.swivel, -LARGEST_SWIVEL, LARGEST_SWIVEL, "rad")
    one_of("field", event.field, FIELDS)
    pose = Pose(**asdict(event))
    c_arm(state.anatomy, pose)
    return _in_room(state, pose=pose)


def _take_picture(state, _):
    room = state.room
    pose = standing(state)
    kerma = room.kerma + number("attempt", "dose.picture")
    return _in_room(state, shown=pose, images=room.images + 1, kerma=kerma)


def _start_live(state, _):
    pose = standing(state)
    if state.room.live:
        raise ValueError("live must be off before it is started, got it on: stop it first")
    return _in_room(state, live=True, shown=pose)


def _stop_live(state, event):
    room = state.room
    if not room.live:
        raise ValueError("live must be on before it is stopped, got it off: start it first")
    inside("seconds", event.seconds, 0.0, LONGEST_BEAM, "s")
    kerma = room.kerma + event.seconds * number("attempt", "dose.live_rate")
    return _in_room(state, live=False, shown=room.pose, seconds=room.seconds + event.seconds, kerma=kerma)


def _mark_level(state, event):
    level = check_level(event.level)
    one_of("counted_from", event.counted_from, COUNTED_FROM)
    inside("column", event.column, 0.0, 1.0, "of the picture")
    inside("row", event.row, 0.0, 1.0, "of the picture")
    if state.room.shown is None:
        raise ValueError("shown must be a picture before a level is marked on it, got none: take a picture")
    true = level_at_mark(state.anatomy, state.room.shown, event.column, event.row)
    mark = LevelMark(level, true, event.counted_from)
    return _in_room(state, marks=(*state.room.marks, mark))


def level_at_mark(anatomy, pose, column, row):
    """Return the level at a place of the picture (shares of its size), "" off the spine."""
    carm = c_arm(anatomy, pose)
    level, _ = level_at(anatomy, (column * carm.pixels, row * carm.pixels), carm=carm)
    return level or ""


def place_of_level(anatomy, pose, level):
    """Return (column, row), as shares of the picture, where the middle of a level's body appears."""
    carm = c_arm(anatomy, pose)
    column, row, _ = carm.project(anatomy.poses[level].translation)
    return float(column / carm.pixels), float(row / carm.pixels)


def _store_pose(state, event):
    name = event.name.strip()
    if not 0 < len(name) <= LONGEST_NAME:
        raise ValueError(f"name must hold 1 to {LONGEST_NAME} characters, got {len(name)}: write a few words")
    others = tuple(one for one in state.room.stored if one[0] != name)
    if len(others) >= MOST_POSES:
        raise ValueError(
            f"stored must hold at most {MOST_POSES} poses, got one more: store under a name that is in use"
        )
    return _in_room(state, stored=(*others, (name, standing(state))))


def _recall_pose(state, event):
    stored = dict(state.room.stored)
    if event.name not in stored:
        raise ValueError(
            f"name must be that of a stored pose ({', '.join(stored) or 'there is none'}), "
            f"got {event.name!r:.60}: store one first"
        )
    return _in_room(state, pose=stored[event.name])


def standing(state):
    """Return the Pose of the C-arm; raises ValueError while it has none."""
    if state.room.pose is None:
        raise ValueError("pose must be set before a picture, got none: bring the C-arm to the patient first")
    return state.room.pose


def _in_room(state, **changes):
    return replace(state, room=replace(state.room, **changes))


ACTS = {
    e.SetCArm: _set_c_arm,
    e.TakePicture: _take_picture,
    e.StartLive: _start_live,
    e.StopLive: _stop_live,
    e.MarkLevel: _mark_level,
    e.StorePose: _store_pose,
    e.RecallPose: _recall_pose,
}
