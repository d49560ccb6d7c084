"""Events of the plan: read the card, take the case or not, commit; and the end of an attempt."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ReadItem:
    """Open one item of the patient card, or the slices; one of `scenarios.card.ITEMS`."""

    item: str


@dataclass(frozen=True)
class DeferCase:
    """Put the case off until its reason, one of scenarios.card.REASONS, is dealt with; ends the attempt."""

    reason: str


@dataclass(frozen=True)
class RefuseCase:
    """Decline the case for a reason, one of scenarios.card.REASONS, that will stay; ends the attempt."""

    reason: str


@dataclass(frozen=True)
class CommitPlan:
    """Commit to interspace, side, needle and target; the last commitment counts.

    Parameters
    ----------
    interspace : str
    side : str
        The patient's side that the needle comes from, "left" or "right".
    needle_length : float
        One that lies on the table. [mm]
    target_level : str
        The lead's tip shall come to the top of this body.
    """

    interspace: str
    side: str
    needle_length: float
    target_level: str


@dataclass(frozen=True)
class FinishAttempt:
    """Call the work done; what follows is the debriefing."""


@dataclass(frozen=True)
class BeginTest:
    """Hand the lead over to the test of stimulation."""


@dataclass(frozen=True)
class BeginSecuring:
    """Begin to secure what has been placed."""
