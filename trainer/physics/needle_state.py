"""A needle in a patient: where it is, what it has cut, what it feels like. Frozen; acts return new states."""

from dataclasses import dataclass, field, replace

import numpy as np

from meshes.frames import unit
from trainer.physics.needle import Needle, NeedleAim, axis_from_skin
from trainer.physics.needle_axis import first_contact
from trainer.physics.needle_feel import SOFT, gauge_value, tone_of
from trainer.physics.needle_scene import NeedleScene
from trainer.physics.needle_track import place_on
from trainer.physics.patient_reaction import Patient
from trainer.physics.tissue_layers import (
    CORD,
    DURA,
    EPIDURAL,
    FLAVUM,
    FLUID,
    HARD,
    NAMES,
    opening_into,
)
from trainer.physics.tissue_path import scar_at, trace_tissue

INTACT, TENTED, PUNCTURED = DURA_STATES = ("intact", "tented", "punctured")
NOWHERE = 1e9  # [mm] where a bone stands that is not there


@dataclass(frozen=True)
class BoneContact:
    """Bone under the tip.

    Parameters
    ----------
    level, words : str
        The bone, and the part of it: "the upper edge of the L1 lamina".
    depth : float
        Of the tip along its track. [mm]
    force : float
        On the bone. [N]
    lean : float
        Between the needle and the normal of the bone's surface; 0 is square to it. [rad]
    bend : float
        How far the tip has slid aside while the shaft bends. [mm]
    """

    level: str
    words: str
    depth: float
    force: float
    lean: float
    bend: float


@dataclass(frozen=True)
class Counts:
    """How often something has happened with one needle."""

    pushes: int = 0
    withdrawals: int = 0
    redirections: int = 0
    bone_contacts: int = 0
    hard_bone_contacts: int = 0
    slides: int = 0
    gives: int = 0
    dural_punctures: int = 0
    root_contacts: int = 0
    cord_contacts: int = 0
    vessel_contacts: int = 0


@dataclass(frozen=True, eq=False)
class NeedleState:
    """One needle in one patient.

    Depths run along the track from the skin [mm]. The shaft is rigid along its track; bending under load is
    told but does not move it. All forces rest on tables/tissue.csv, most of which is assumed or from
    memory.

    Parameters
    ----------
    scene : NeedleScene
    needle : Needle
    aim : NeedleAim
    patient : Patient
    stab : bool
        Whether the skin was opened with a blade.
    track : (n, 3) float
        Polyline from the skin to the end of the cut and beyond along the last leg. [mm]
    old_tracks : tuple of (n, 3) float
        Ways that were cut and left.
    hand, depth, cut, slip : float
        Place of the hand along the track, of the tip, end of the cut, creep of the shaft. [mm]
    bevel : float
        Turn of the opening about the shaft; 0 faces the head, growing clockwise as seen from the hub. [rad]
    grip : str
        As last used.
    force, tip_force : float
        On the hand and at the tip, after the last act. [N]
    peak : float
        Greatest force on the hand in the last act. [N]
    resistance : str
        "soft", "firm", "tough" or "bone".
    plunge : float
        How far the tip jumped by itself in the last act. [mm]
    bone : BoneContact or None
    sliding : bool
        Whether the tip has been turned aside along bone and not yet back.
    dura : str
        "intact", "tented" or "punctured"; a hole stays.
    reactions : tuple of Reaction
        Of the patient to the last act.
    blood : bool
        Whether blood shows at the hub.
    trace : (n, 3) float
        Depth of the tip [mm], force on the hand and at the tip [N] during the last act.
    counts : Counts
    starts, codes : (k,)
        Tissues along the track; they follow from it.
    bone_at : float
        Where along the track bone will stop the tip. [mm]
    """

    scene: NeedleScene = field(repr=False, metadata={"derived": True})
    needle: Needle
    aim: NeedleAim
    patient: Patient
    stab: bool
    track: np.ndarray = field(repr=False)
    starts: np.ndarray = field(repr=False, metadata={"derived": True})
    codes: np.ndarray = field(repr=False, metadata={"derived": True})
    bone_at: float = field(repr=False, metadata={"derived": True})
    old_tracks: tuple = field(default=(), repr=False)
    hand: float = 0.0
    depth: float = 0.0
    cut: float = 0.0
    slip: float = 0.0
    bevel: float = 0.0
    grip: str = "steady"
    force: float = 0.0
    tip_force: float = 0.0
    peak: float = 0.0
    resistance: str = SOFT
    plunge: float = 0.0
    bone: BoneContact | None = None
    sliding: bool = False
    dura: str = INTACT
    reactions: tuple = ()
    blood: bool = False
    trace: np.ndarray = field(default=None, repr=False, metadata={"derived": True})
    counts: Counts = Counts()

    def with_changes(self, **changes):
        """Return a copy with some fields replaced."""
        return replace(self, **changes)

    @property
    def puncture(self):
        """Point (3,) where the shaft passes the skin. [mm]"""
        return self.track[0]

    @property
    def tip(self):
        """Point (3,). [mm]"""
        return place_on(self.track, self.depth)[0]

    @property
    def direction(self):
        """Unit direction (3,) of the tip."""
        return place_on(self.track, self.depth)[1]

    @property
    def base_direction(self):
        """Unit direction (3,) of the shaft at the hub: from the skin to the tip."""
        if self.depth < 1e-6:
            return self.direction
        return unit(self.tip - self.puncture)

    @property
    def stylet_inside(self):
        """Whether the stylet fills the bore."""
        return self.needle.stylet_in

    @property
    def outside(self):
        """Length of shaft outside the skin. [mm]"""
        return self.needle.length - self.depth

    def code_at(self, depth):
        """Return the number of the tissue at a depth along the track."""
        return int(self.codes[max(int(np.searchsorted(self.starts, depth, side="right")) - 1, 0)])

    def start_of(self, *codes):
        """Return the depth at which the first of these tissues begins, or None."""
        for start, code in zip(self.starts.tolist(), self.codes.tolist()):
            if code in codes:
                return start
        return None

    @property
    def depth_in_tissue(self):
        """Depth of the tip in the tissue that has been cut: less than `depth` while tissue is tented. [mm]"""
        return min(self.cut, self.depth)

    @property
    def tissue(self):
        """Name of the tissue in which the tip lies."""
        return "bone" if self.bone else NAMES[self.code_at(self.depth_in_tissue)]

    @property
    def opening_depth(self):
        """Depth of the middle of the opening in the tissue that has been cut. [mm]"""
        return max(self.depth_in_tissue - self.needle.opening_behind_tip, 0.0)

    @property
    def opening(self):
        """Opening: what the bore looks into, as a syringe feels it."""
        code, scar = self.code_at(self.opening_depth), 0.0
        if code == EPIDURAL and len(self.scene.marks[2]):
            station, theta, _ = self.scene.anatomy.canal.to_chart(self.opening_point)
            scar = max(scar_at(self.scene.marks[2], float(station), float(theta)), 0.0)
        return opening_into(code, scar=scar)

    @property
    def opening_point(self):
        """Point (3,) of the middle of the opening. [mm]"""
        return place_on(self.track, self.depth - self.needle.opening_behind_tip)[0]

    @property
    def epidural_depth(self):
        """How far the tip lies beyond the entry into the epidural space; None before it. [mm]"""
        entry = self.start_of(EPIDURAL, DURA, FLUID, CORD)
        return None if entry is None or self.depth < entry else self.depth - entry

    @property
    def in_epidural_space(self):
        """Whether opening and tip lie in the epidural space."""
        return self.code_at(self.opening_depth) == EPIDURAL == self.code_at(self.depth_in_tissue)

    @property
    def in_sac(self):
        """Whether the opening lies in the fluid of the sac."""
        return self.code_at(self.opening_depth) == FLUID

    @property
    def in_flavum(self):
        return self.code_at(self.depth_in_tissue) == FLAVUM

    @property
    def tented_by(self):
        """How far the tip has pushed the dura ahead of it. [mm]"""
        dura = self.start_of(DURA)
        if dura is None or self.code_at(self.cut) in (FLUID, CORD) or self.depth <= dura:
            return 0.0
        return self.depth - max(self.cut, dura)

    @property
    def gauge(self):
        """Force on the hand as a share of the gauge's full scale, 0 to 1."""
        return gauge_value(self.force)

    @property
    def tone(self):
        """Tone of the force on the hand."""
        return tone_of(self.force)

    @property
    def words(self):
        """What the patient said to the last act: a tuple of sentences."""
        return tuple(reaction.words for reaction in self.reactions if reaction.words)

    @property
    def movement(self):
        """How far the patient's back jerked at the last act. [mm]"""
        return max((reaction.movement for reaction in self.reactions), default=0.0)

    def mouth(self):
        """Return point (3,) and direction (3,) of the opening, for a lead.

        Raises
        ------
        ValueError
            If the opening lies neither in the epidural space nor, by mishap, in the sac.
        """
        if not self.in_epidural_space and not self.in_sac:
            raise ValueError(
                f"the opening must lie in the epidural space before a lead is passed, got "
                f"{self.opening.tissue}: advance until resistance is lost, or pull back"
            )
        return self.opening_point, self.direction


def read_only(array):
    array.flags.writeable = False
    return array


def look_along(scene, needle, track, *, depth, before=None, skip=0.0):
    """Return (starts, codes, bone_at) of a track whose last leg goes on straight beyond `depth`.

    Parameters
    ----------
    before : (starts, codes) or None
        Tissues already known up to `depth`; None to look from the skin on.
    skip : float
        Bone nearer than this before the tip is left out: a tip that slides touches it. [mm]
    """
    point, direction = place_on(track, depth)
    origin = point - depth * direction
    axis = tuple(float(value) for value in (*origin, *direction))
    first = 0.0 if before is None else depth
    starts, codes = trace_tissue(scene.layers, scene.chart, scene.marks, axis, first, needle.length + 5.0)
    if before is not None:
        kept = before[0] < depth
        starts, codes = np.concatenate([before[0][kept], starts]), np.concatenate([before[1][kept], codes])
    bone_at = _bone_ahead(scene, needle, point + skip * direction, direction, depth + skip, starts, codes)
    return read_only(starts), read_only(codes), bone_at


def _bone_ahead(scene, needle, point, direction, depth, starts, codes):
    ahead = tuple(float(value) for value in (*point, *direction))
    touch, bone = first_contact(scene.bones, ahead, needle.length + 5.0 - depth, needle.outer_radius)
    found = [depth + touch] if bone >= 0 else []
    found += [float(start) for start in starts[(codes == HARD) & (starts >= depth - 1e-9)][:1]]
    return min(found, default=NOWHERE)


def place_needle(scene, aim, *, needle=None, patient=None, stab=True, grip="steady"):
    """Return the NeedleState of a tip set on the skin, held at the angles of an aim.

    Parameters
    ----------
    scene : NeedleScene
        Of the patient; the same one for every needle, so that the same way feels the same.
    aim : NeedleAim
    needle : Needle or None
        The standard one where not given.
    patient : Patient or None
        Anaesthesia and sedation; local anaesthetic in the skin, awake, where not given.
    stab : bool
        Whether the skin has been opened with a blade.
    """
    needle = needle or Needle()
    held = aim.sign, aim.approach, aim.medial
    line = axis_from_skin(scene.layers[0], scene.layers[3], aim.entry_x, aim.entry_z, *held)
    entry, direction = np.array(line[:3]), np.array(line[3:6])
    track = read_only(np.vstack([entry, entry + direction]))
    starts, codes, bone_at = look_along(scene, needle, track, depth=0.0)
    return NeedleState(
        scene, needle, aim, patient or Patient(), stab, track, starts, codes, bone_at,
        grip=grip, trace=read_only(np.zeros((1, 3))),
    )  # fmt: skip
