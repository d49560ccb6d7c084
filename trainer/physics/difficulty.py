"""How hard an interspace is: failed first passes per hundred, for the needle alone and with the lead."""

from dataclasses import dataclass

from meshes.levels import check_interspace
from meshes.tables.loader import number
from trainer.physics.needle import Needle, check_side
from trainer.physics.plan import STEEP, NoCorridorError, PlannedAim, plan_needle

CLOSED = 100.0
BANDS = ("easy", "usual", "hard")
TRAP = "consider another interspace or angle"


@dataclass(frozen=True)
class Rating:
    """The two ratings of an interspace from one side.

    Parameters
    ----------
    interspace, side : str
    needle : Needle
    largest_approach : float
        [rad]
    alone : PlannedAim or None
        The needle's best aim; None where no needle gets through.
    joint : PlannedAim or None
        The best aim for needle and lead together; None where none serves both.
    """

    interspace: str
    side: str
    needle: Needle
    largest_approach: float
    alone: PlannedAim | None
    joint: PlannedAim | None

    @property
    def needle_difficulty(self):
        """0 to 100: first passes out of 100 that fail the needle at its own best aim."""
        return CLOSED if self.alone is None else self.alone.needle_difficulty

    @property
    def difficulty(self):
        """0 to 100: first passes out of 100 that fail needle or lead at their best common aim."""
        return CLOSED if self.joint is None else self.joint.difficulty

    @property
    def band(self):
        """Words for the joint rating: "easy", "usual", "hard", or to consider another interspace."""
        return band_of(self.difficulty)

    @property
    def needle_band(self):
        """The same words for the needle alone."""
        return band_of(self.needle_difficulty)


def band_of(difficulty):
    """Return words for a difficulty from 0 to 100; the borders stand in tables/needle.csv, assumed."""
    for name in BANDS:
        if difficulty < number("needle", f"difficulty.{name}"):
            return name
    return TRAP


def rate(anatomy, interspace, *, side="left", needle=None, largest_approach=STEEP, rng=11):
    """Return the Rating of an interspace from one side.

    Difficulty = 100 (1 - (expert + novice) / 2): the shares of needles that succeed when the best aim is
    scattered by the aiming errors of tables/needle.csv (assumed). Success is free of bone, long enough and
    room before the dura; for needle and lead also a mouth that suits the lead (see plan_needle).

    Raises
    ------
    ValueError
        If interspace, side or angle cannot be aimed at.
    """
    interspace, side, needle = check_interspace(interspace), check_side(side), needle or Needle()

    def best(for_lead):
        ask = {"side": side, "needle": needle, "largest_approach": largest_approach, "rng": rng}
        try:
            return plan_needle(anatomy, interspace, for_lead=for_lead, **ask)
        except NoCorridorError:
            return None

    return Rating(interspace, side, needle, largest_approach, best(False), best(True))
