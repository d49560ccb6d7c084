"""Where an attempt stands: one frozen value, made of a part for the plan, the C-arm and each needle."""

from dataclasses import dataclass, field, fields, replace

from trainer.attempt.digest import digest_of
from trainer.physics.dose import DoseRecord
from trainer.physics.needle_state import Counts
from trainer.physics.tissue_layers import CORD, DURA, EPIDURAL, FLAVUM, FLUID

NOTHING_YET = DoseRecord()
NO_COUNTS = Counts()
PHASES = ("plan", "picture", "needle", "lead", "test", "secure", "debrief")
PRACTICE, ASSESSMENT = "practice", "assessment"
MODES = (PRACTICE, ASSESSMENT)


def derived(default):
    """Return a field that follows from the others and is left out of the digest."""
    return field(default=default, repr=False, metadata={"derived": True})


@dataclass(frozen=True)
class Plan:
    """What has been read and decided.

    Parameters
    ----------
    items_read : tuple of str
    decision : str
        "" while open, then "proceed", "defer" or "refuse".
    reason : str
        Of a case put off or declined.
    interspace, side, target_level : str
        As committed; "" before.
    needle_length : float
        [mm]
    """

    items_read: tuple = ()
    decision: str = ""
    reason: str = ""
    interspace: str = ""
    side: str = ""
    target_level: str = ""
    needle_length: float = 0.0


@dataclass(frozen=True)
class Pose:
    """How the C-arm stands; see picture_events.SetCArm. Angles in rad, lengths in mm."""

    orbit: float
    tilt: float
    centre: str
    along: float = 0.0
    across: float = 0.0
    height: float = 0.0
    swivel: float = 0.0
    field: str = "full"
    iris: float = 1.0
    across_open: float = 1.0
    along_open: float = 1.0


@dataclass(frozen=True)
class LevelMark:
    """A vertebra marked on the picture: what it was taken for, what it is, and how it was counted."""

    level: str
    true_level: str
    counted_from: str


@dataclass(frozen=True)
class Room:
    """The C-arm, its counters and what has been marked on its pictures.

    Parameters
    ----------
    pose : Pose or None
    shown : Pose or None
        Of the picture that is held on the screen.
    live : bool
    dose : trainer.physics.dose.DoseRecord
        Images, seconds of live picture and the estimated kerma so far.
    stored : tuple of (name, Pose)
    marks : tuple of LevelMark
    """

    pose: Pose | None = None
    shown: Pose | None = None
    live: bool = False
    dose: DoseRecord = NOTHING_YET
    stored: tuple = ()
    marks: tuple = ()

    @property
    def images(self):
        return self.dose.images

    @property
    def seconds(self):
        """Of live picture. [s]"""
        return self.dose.live_seconds

    @property
    def kerma(self):
        """At the entrance. [mGy]"""
        return self.dose.air_kerma


@dataclass(frozen=True, eq=False)
class Placement:
    """One needle and the lead through it.

    Parameters
    ----------
    aim, needle, check
        The NeedleAim, the Needle and the NeedleCheck that follows from both, or None.
    inside : trainer.physics.needle_state.NeedleState or None
        The needle in the tissue; None while it is outside.
    syringe : trainer.physics.syringe.Syringe or None
        The one that was pressed last.
    felt : str
        What the thumb felt then: "firm", "bounces", "gives" or "lost"; "" before.
    passes, lead_passes : int
        Through the skin and through the needle, counted over the whole attempt.
    counts : trainer.physics.needle_state.Counts
        Of all passes together.
    lead : trainer.physics.lead.LeadState or None
        None while the lead is outside.
    contacts : int
        Of the chosen lead.
    stylet : str
        In the lead: "curved", "straight" or "out".
    saline : float
        Injected through this needle. [ml]
    """

    aim: object = None
    needle: object = None
    check: object = derived(None)
    inside: object = field(default=None, repr=False)
    syringe: object = None
    felt: str = ""
    passes: int = 0
    lead_passes: int = 0
    counts: object = NO_COUNTS
    lead: object = field(default=None, repr=False)
    contacts: int = 8
    stylet: str = "curved"
    saline: float = 0.0

    @property
    def depth(self):
        """Of the tip along its track from the skin; None while the needle is outside. [mm]"""
        return None if self.inside is None else self.inside.depth

    @property
    def touched_bone(self):
        """The bone under the tip in words, or None."""
        return self.inside.bone.words if self.inside is not None and self.inside.bone else None

    @property
    def to_flavum(self):
        """Where the flavum begins along the track, or along the aim while the needle is outside; or None."""
        if self.inside is not None:
            return self.inside.start_of(FLAVUM)
        return None if self.check is None else self.check.to_flavum

    @property
    def to_epidural(self):
        """Where the epidural space begins, told in the same way."""
        if self.inside is not None:
            return self.inside.start_of(EPIDURAL, DURA, FLUID, CORD)
        return None if self.check is None else self.check.to_epidural


@dataclass(frozen=True)
class Complication:
    """What went wrong.

    Parameters
    ----------
    kind : str
        As in trainer.physics.needle_consequences.
    event : int
        At which it happened, counted from 1.
    seen : bool
        Whether a trainee could see it.
    ends_attempt : bool
    choice : str
        What was chosen to be done about it; "" while open.
    needle, needle_pass : int
        Index of the needle, and which of its passes through the skin.
    """

    kind: str
    event: int
    seen: bool = True
    ends_attempt: bool = False
    choice: str = ""
    needle: int = 0
    needle_pass: int = 0


@dataclass(frozen=True)
class Patient:
    """How the patient on the table is."""

    sedation: str = "awake"
    local: str = "none"
    local_anaesthetic: float = 0.0
    words: str = ""


@dataclass(frozen=True, eq=False)
class AttemptState:
    """Where an attempt stands. Two states are compared by `digest`.

    Parameters
    ----------
    scenario : scenarios.scenario.Scenario
    seed : int
        Of everything drawn at random in this attempt.
    anatomy : meshes.anatomy.Anatomy
        Follows from the scenario; held by reference and left out of the digest.
    mode : str
        "practice" or "assessment".
    phase : str
        One of `PHASES`.
    event_count : int
        How many events led here.
    plan, room, patient : Plan, Room, Patient
    placements : tuple of two Placement
        First and second needle.
    active : int
        Index of the needle and lead in hand.
    complications : tuple of Complication
    largest_push, largest_dent : float
        Of the leads over the whole attempt. [N], [mm]
    """

    scenario: object
    seed: int
    anatomy: object = field(repr=False, metadata={"derived": True})
    mode: str = PRACTICE
    phase: str = "plan"
    event_count: int = 0
    plan: Plan = Plan()
    room: Room = Room()
    patient: Patient = Patient()
    placements: tuple = (Placement(), Placement())
    active: int = 0
    complications: tuple = ()
    largest_push: float = 0.0
    largest_dent: float = 0.0

    @property
    def placement(self):
        """The Placement in hand."""
        return self.placements[self.active]

    def with_placement(self, **changes):
        """Return the state with some fields of the Placement in hand changed."""
        changed = replace(self.placement, **changes)
        both = tuple(changed if k == self.active else one for k, one in enumerate(self.placements))
        return replace(self, placements=both)

    # Of the placement in hand, as most readers want it.

    @property
    def aim(self):
        return self.placement.aim

    @property
    def needle(self):
        return self.placement.needle

    @property
    def check(self):
        return self.placement.check

    @property
    def needle_depth(self):
        return self.placement.depth

    @property
    def lead(self):
        return self.placement.lead

    @property
    def dural_punctures(self):
        return sum(one.counts.dural_punctures for one in self.placements)

    @property
    def needle_passes(self):
        return sum(one.passes for one in self.placements)

    @property
    def lead_passes(self):
        return sum(one.lead_passes for one in self.placements)


def digest(state):
    """Return 24 hex digits that change when any bit of the state's own values does."""
    return digest_of(
        (entry.name, getattr(state, entry.name))
        for entry in fields(state)
        if not entry.metadata.get("derived")
    )
