"""One needle axis against one anatomy: every number that can be told before anything is touched."""

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from meshes.levels import check_interspace
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_axis import arrays_of
from trainer.physics.needle_facts import (
    CLEARANCE,
    CLEARANCE_AT,
    CLEARANCE_BONE,
    CONTACT,
    CONTACT_BONE,
    CONTACT_POINT,
    DIRECTION,
    DURA,
    EDGES,
    ENTRY,
    FACTS,
    FASCIA,
    FLAVUM,
    FRAME,
    FRONT,
    FRONT_BONE,
    FRONT_POINT,
    GAP,
    NORMAL,
    RADIUS,
    STATION,
    THETA,
    WALL,
    check_axis,
)
from trainer.physics.needle_mend import smallest_mend
from trainer.physics.needle_part import bone_part
from trainer.physics.needle_verdict import FAIL, OK, judge, mended

PROFILE = 61  # samples of the clearance along the axis


@dataclass(frozen=True, eq=False)
class NeedleCheck:
    """What one needle meets on its straight way, told before anything is touched.

    Distances run along the axis from the skin [mm]; None where a layer is not crossed. The needle is a
    rigid capsule: no bending, no tissue pushed ahead. Nerve roots, vessels and ribs are not looked for.

    Parameters
    ----------
    anatomy, aim, needle : Anatomy, NeedleAim, Needle
    interspace : str
        The one wanted.
    facts : (58,) float
        As check_axis leaves them. Implants and hardened ligaments count as bone; the vertebra that holds
        them is named, `first_bone_part` has their own words.
    """

    anatomy: object = field(repr=False)
    aim: NeedleAim
    needle: Needle
    interspace: str
    facts: np.ndarray = field(repr=False)

    def _number(self, index):
        value = float(self.facts[index])
        return None if math.isnan(value) else value

    def _bone(self, index):
        row = int(self.facts[index])
        return self.anatomy.obstacles.level_of(row) if row >= 0 else None

    @property
    def entry(self):
        """Point on the skin (3,). [mm]"""
        return self.facts[ENTRY]

    @property
    def direction(self):
        """Unit direction of the needle (3,)."""
        return self.facts[DIRECTION]

    @property
    def to_fascia(self):
        return self._number(FASCIA)

    @property
    def to_flavum(self):
        """To the back of the ligamentum flavum."""
        return self._number(FLAVUM)

    @property
    def to_epidural(self):
        """To the front of the flavum: the wall of the canal chart, where the epidural space begins."""
        return self._number(WALL)

    @property
    def to_dura(self):
        return self._number(DURA)

    @property
    def safe_travel(self):
        """From the epidural entry to the dura, along the axis; None where the axis misses one of them."""
        if self.to_dura is None:
            return None
        return self.to_dura - self.to_epidural

    @property
    def epidural_entry(self):
        """Point (3,) where the axis enters the epidural space, or None. [mm]"""
        return None if self.to_epidural is None else self.entry + self.to_epidural * self.direction

    @property
    def depth_below_skin(self):
        """How deep the epidural entry lies under the skin plane at the entry. [mm]"""
        if self.to_epidural is None:
            return None
        return float((self.entry - self.epidural_entry) @ self.facts[NORMAL])

    @property
    def station(self):
        """Station of the epidural entry along the canal. [mm]"""
        return self._number(STATION)

    @property
    def lateral_offset(self):
        """Of the epidural entry from the canal's midline, square to the canal, left positive. [mm]"""
        if self.to_epidural is None:
            return None
        return float(self.facts[RADIUS] * math.sin(self.facts[THETA]))

    @property
    def tip_offset(self):
        """Of the tip from the canal's midline with the whole bevel in, left positive. [mm]"""
        if self.to_epidural is None:
            return None
        tip = self.entry + (self.to_epidural + self.needle.bevel_length) * self.direction
        _, theta, radius = self.anatomy.canal.to_chart(tip)
        return float(radius * np.sin(theta))

    @property
    def dorsal_gap(self):
        """Nearest distance from the epidural entry to the dura. [mm]"""
        return self._number(GAP)

    @property
    def angle_to_skin(self):
        return math.asin(min(1.0, -float(self.direction @ self.facts[NORMAL])))

    @property
    def angle_to_canal(self):
        """Between the needle and the canal's axis: what the lead must turn by. [rad]"""
        if self.to_epidural is None:
            return None
        return math.acos(min(1.0, max(-1.0, float(self.direction @ self.facts[FRAME][3:6]))))

    @property
    def angle_to_canal_sagittal(self):
        """The same as seen from the patient's side, in the canal's own sagittal plane. [rad]"""
        if self.to_epidural is None:
            return None
        tangent, dorsal = self.facts[FRAME][3:6], self.facts[FRAME][9:12]
        return math.atan2(-float(self.direction @ dorsal), float(self.direction @ tangent))

    @property
    def crossing_travel(self):
        """How far up the canal the needle's line crosses the midline; None where it does not come nearer."""
        if self.to_epidural is None:
            return None
        inward = -float(self.direction @ self.facts[FRAME][6:9]) * math.copysign(1.0, self.lateral_offset)
        if inward <= 1e-9:
            return None
        return abs(self.lateral_offset) * float(self.direction @ self.facts[FRAME][3:6]) / inward

    @property
    def first_bone(self):
        """Level of the bone, or of what it holds, that the needle touches first; or None."""
        return self._bone(CONTACT_BONE)

    @property
    def to_first_bone(self):
        return self._number(CONTACT)

    @property
    def first_bone_point(self):
        """Where the bone is touched (3,), or None. [mm]"""
        return None if self.first_bone is None else self.facts[CONTACT_POINT]

    @cached_property
    def first_bone_part(self):
        """Words for the part that is touched first, or None."""
        return self.hard or self._part(CONTACT_BONE, self.first_bone_point)

    @property
    def hard(self):
        """Words for what is touched first where that is no bone: implant or hardened ligament; or None."""
        return self.anatomy.obstacles.obstacle(int(self.facts[CONTACT_BONE])) if self.first_bone else None

    def _part(self, index, point):
        level = self._bone(index)
        if level is None:
            return None
        inside = self.anatomy.poses[level].inverse().apply(point)
        return bone_part(self.anatomy.bones[level].shape, inside / self.anatomy.parameters.stature_scale)

    @cached_property
    def bone_in_front(self):
        """Where a needle that has passed the window would be stopped by bone in front of the canal.

        (distance along the axis [mm], words for the part), or None where its length does not reach bone
        or bone is met before the epidural space.
        """
        if self.to_epidural is None or self.first_bone is not None:
            return None
        if self._bone(FRONT_BONE) is None:
            return None
        words = self.anatomy.obstacles.obstacle(int(self.facts[FRONT_BONE]))
        return self._number(FRONT), words or self._part(FRONT_BONE, self.facts[FRONT_POINT])

    @property
    def first_bone_depth(self):
        """How deep the touched point lies under the skin plane at the entry. [mm]"""
        if self.first_bone is None:
            return None
        return float((self.entry - self.first_bone_point) @ self.facts[NORMAL])

    @property
    def least_clearance(self):
        """Smallest room between shaft and bone up to the epidural entry, negative where it cuts bone. [mm]

        Certified within 0.02 mm; above 4.5 mm only a lower bound.
        """
        return float(self.facts[CLEARANCE])

    @property
    def least_clearance_at(self):
        return float(self.facts[CLEARANCE_AT])

    @property
    def least_clearance_bone(self):
        """Level of the bone that is nearest there, or the words for the obstacle."""
        row = int(self.facts[CLEARANCE_BONE])
        return self.anatomy.obstacles.levels[row] if row >= 0 else None

    @cached_property
    def clearance_profile(self):
        """Clearance (61,) at even steps up to the epidural entry, or along the whole needle. [mm]

        Above 4.5 mm only a lower bound.
        """
        end = self.needle.length if self.to_epidural is None else self.to_epidural
        points = self.entry + np.linspace(0.0, end, PROFILE)[:, None] * self.direction
        return self.anatomy.obstacles.nearest(points) - self.needle.outer_radius

    def _edge(self, direction):
        x, y, z, bone = self.facts[EDGES][4 * direction : 4 * direction + 4]
        return np.array([x, y, z]), None if bone < 0 else self.anatomy.obstacles.level_of(int(bone))

    def _across(self, low, high, axis):
        """Return the free length between two edges along an axis, and the share of it below the entry."""
        if self.to_epidural is None:
            return None, None
        a, b = float(self._edge(low)[0] @ axis), float(self._edge(high)[0] @ axis)
        place = float((self.entry + 0.5 * (self._flavum() + self.to_epidural) * self.direction) @ axis)
        return b - a, (place - a) / (b - a) if b - a > 1e-6 else None

    def _flavum(self):
        return self.to_epidural if self.to_flavum is None else self.to_flavum

    @property
    def window_height(self):
        """Free height of the window where the needle passes, along the canal. [mm]"""
        return self._across(1, 0, self.facts[FRAME][3:6])[0]

    @property
    def window_height_fraction(self):
        """Where in that height: 0 at the lower lamina, 1 at the upper."""
        return self._across(1, 0, self.facts[FRAME][3:6])[1]

    @property
    def window_width(self):
        """Free width of the window where the needle passes, square to the canal. [mm]"""
        return self._across(3, 2, self.facts[FRAME][6:9])[0]

    @property
    def window_width_fraction(self):
        """Where in that width: 0 at the patient's right edge, 1 at the left."""
        return self._across(3, 2, self.facts[FRAME][6:9])[1]

    @property
    def window_bones(self):
        """Levels of the bones above and below the place of passage; None where none is met."""
        return (self._edge(0)[1], self._edge(1)[1]) if self.to_epidural is not None else (None, None)

    @cached_property
    def entered(self):
        """Name of the interspace whose flavum the axis passes, or None under a lamina or nowhere."""
        return None if self.station is None else self.anatomy.canal.interspace_of(self.station)

    @property
    def flavum_state(self):
        """What is left of the flavum where the axis enters: "whole", "bone", "parted" or "gone"; or None."""
        if self.entered is None:
            return None
        return self.anatomy.canal.flavum_state(self.entered, self.lateral_offset)

    @property
    def reaches(self):
        """Whether the needle enters the epidural space of the wanted interspace without touching bone."""
        return self.entered == self.interspace and self.first_bone is None

    def mouth(self, depth_past_entry):
        """Return point (3,) and direction (3,) of the opening `depth_past_entry` mm past the entry.

        Raises ValueError where the axis never enters the epidural space.
        """
        if self.to_epidural is None:
            raise ValueError(
                "the axis must enter the epidural space to have a mouth there, got an axis that misses it: "
                "aim again"
            )
        return self.entry + (self.to_epidural + depth_past_entry) * self.direction, self.direction.copy()

    @cached_property
    def _judged(self):
        return judge(self)

    @property
    def passes(self):
        """Whether no reason is a failure; quick, for no remedy is looked for."""
        return not any(reason.kind == FAIL for reason in self._judged)

    @property
    def faultless(self):
        """Whether nothing speaks against this needle, not even a warning."""
        return all(reason.kind == OK for reason in self._judged)

    @cached_property
    def reasons(self):
        """What speaks for and against this needle, in plain words: a tuple of Reason."""
        return mended(self, self._judged)

    @cached_property
    def mend(self):
        """The Mend of a needle that fails: the smallest change that makes it pass; None without one."""
        return None if self.passes else smallest_mend(self)

    @property
    def verdict(self):
        """ "passes" where no reason is a failure, else "fails"."""
        return "passes" if self.passes else "fails"


def check_needle(anatomy, aim, needle=None, *, interspace=None):
    """Return the NeedleCheck of one aim.

    Parameters
    ----------
    anatomy : Anatomy
    aim : NeedleAim
    needle : Needle or None
        The standard one where not given.
    interspace : str or None
        The one wanted; that of the aim where not given.
    """
    needle = needle or Needle()
    wanted = aim.interspace if interspace is None else check_interspace(interspace)
    facts = np.empty(FACTS)
    place = np.array([aim.entry_x, aim.entry_z, aim.sign, aim.approach, aim.medial])
    check_axis(*arrays_of(anatomy), place, needle.length, needle.outer_radius, facts)
    facts.flags.writeable = False
    return NeedleCheck(anatomy, aim, needle, wanted, facts)
