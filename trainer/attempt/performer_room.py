"""How a performer works with the C-arm: squares a level, counts, looks from the side."""

from meshes.levels import LEVELS
from meshes.units import radians
from trainer.attempt import events as e
from trainer.attempt.picture_acts import place_of_level
from trainer.physics.squared_pose import squared_pose

LATERAL = radians(90.0)
OBLIQUE = radians(50.0)
COUNTED_FROM_SACRUM = ("L5", "L3", "L1")
COUNTED_FROM_RIBS = ("T12", "T10")


class RoomWork:
    """The C-arm in one performance."""

    def __init__(self, work):
        self.work = work

    def look(self, centre, *, view="frontal", side="left"):
        """Take one picture of a level or an interspace."""
        orbit = {"frontal": 0.0, "lateral": LATERAL, "oblique": OBLIQUE if side == "left" else -OBLIQUE}[view]
        self._picture(orbit, 0.0, centre)

    def square(self, level):
        """Take a frontal picture along the plates of a level, its spinous process in the middle."""
        self._picture(*squared_pose(self.work.attempt.anatomy, level), level)

    def count_levels(self):
        """Mark levels upwards from the sacrum and, with the habit, from the lowest rib."""
        self.look("L3")
        self._mark(COUNTED_FROM_SACRUM, "sacrum")
        if self.work.habits.counts_ribs:
            self.look("T11")
            self._mark(COUNTED_FROM_RIBS, "ribs")

    def _mark(self, levels, counted_from):
        anatomy, room = self.work.attempt.anatomy, self.work.state.room
        for true in levels:
            named = LEVELS[max(LEVELS.index(true) - self.work.habits.level_error, 0)]
            column, row = place_of_level(anatomy, room.shown, true)
            if 0.0 <= column <= 1.0 and 0.0 <= row <= 1.0:
                self.work.do(e.MarkLevel(named, column, row, counted_from))

    def _picture(self, orbit, tilt, centre):
        pose = self.work.state.room.pose
        if pose is None or (pose.orbit, pose.tilt, pose.centre) != (orbit, tilt, centre):
            self.work.do(e.SetCArm(orbit, tilt, centre))
        self.work.do(e.TakePicture())
