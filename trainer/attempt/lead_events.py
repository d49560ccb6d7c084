"""Events of the leads. Lengths in mm, angles in rad."""

from dataclasses import dataclass

STYLETS = ("curved", "straight")
WHICH = ("first", "second")


@dataclass(frozen=True)
class ChooseLead:
    """Choose a lead by its number of contacts, and the stylet in it."""

    contacts: float
    stylet: str


@dataclass(frozen=True)
class PassLead:
    """Put the lead through the needle until its tip looks out of the mouth."""


@dataclass(frozen=True)
class AdvanceLead:
    """Feed the lead; negative withdraws it. [mm]"""

    millimetres: float


@dataclass(frozen=True)
class TurnLead:
    """Turn the hub of the stylet by up to one turn, counted like the turning hand sees it. [rad]"""

    angle: float


@dataclass(frozen=True)
class ChangeStylet:
    """Change the stylet in the lead to a "curved" or a "straight" one."""

    stylet: str


@dataclass(frozen=True)
class InjectSaline:
    """Inject saline through the needle beside the lead. [ml]"""

    millilitres: float


@dataclass(frozen=True)
class RemoveLead:
    """Pull the lead out through the needle."""


@dataclass(frozen=True)
class TakeUpNeedle:
    """Take the "first" or the "second" needle in hand."""

    which: str


@dataclass(frozen=True)
class TakeUpLead:
    """Take the "first" or the "second" lead in hand."""

    which: str


@dataclass(frozen=True)
class PullStylet:
    """Pull the stylet out of the lead in hand."""


@dataclass(frozen=True)
class PullNeedle:
    """Pull the needle out over the lead in hand."""
