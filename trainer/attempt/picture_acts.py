"""What the events of the C-arm do."""

from dataclasses import asdict, replace

from meshes.levels import check_level
from trainer.attempt import events as e
from trainer.attempt.exposure import path_through_body
from trainer.attempt.picture_events import COUNTED_FROM
from trainer.attempt.refusals import inside, one_of
from trainer.attempt.state import LevelMark, Pose
from trainer.physics.level_count import level_at
from trainer.physics.xray_carm import isocentre_at
from trainer.physics.xray_collimation import Collimation
from trainer.physics.xray_stand import Stand
from trainer.physics.xray_technique import automatic_technique

LONGEST_BEAM = 600.0  # of one stretch of live picture [s]
LONGEST_NAME = 40
MOST_POSES = 12


def c_arm(anatomy, pose, **changes):
    """Return the CArm of a Pose; raises ValueError if it cannot stand like that."""
    stand = Stand(
        tuple(isocentre_at(anatomy, pose.centre).tolist()),
        along=pose.along,
        across=pose.across,
        height=pose.height,
        orbit=pose.orbit,
        tilt=pose.tilt,
        swivel=pose.swivel,
        field=pose.field,
    )
    return stand.carm.with_changes(**changes)


def collimation(pose):
    """Return the Collimation of a Pose."""
    return Collimation(pose.iris, pose.across_open, pose.along_open)


def _set_c_arm(state, event):
    pose = Pose(**asdict(event))
    c_arm(state.anatomy, pose)
    collimation(pose)
    return _in_room(state, pose=pose)


def exposure(anatomy, pose, purpose):
    """Return the CArm and the Technique of a frame; the C-arm follows the thickness of the body."""
    carm = c_arm(anatomy, pose)
    middle = path_through_body(anatomy, carm)
    return carm, automatic_technique(middle, carm=carm, purpose=purpose)


def _take_picture(state, _):
    pose = standing(state)
    carm, technique = exposure(state.anatomy, pose, "single")
    dose = state.room.dose.with_image(technique, carm=carm, collimation=collimation(pose))
    return _in_room(state, shown=pose, dose=dose)


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
    carm, technique = exposure(state.anatomy, room.pose, "live")
    dose = room.dose.with_live(event.seconds, technique, carm=carm, collimation=collimation(room.pose))
    return _in_room(state, live=False, shown=room.pose, dose=dose)


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
