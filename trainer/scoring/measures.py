"""All measures, and all of them taken of one log."""

from trainer.scoring import (  # noqa: F401 each registers its measures
    measures_lead,
    measures_leads,
    measures_motion,
    measures_needle,
    measures_picture,
    measures_plan,
)
from trainer.scoring.measure import MEASURES


def measure_all(log):
    """Return {name: value} of every measure of a Log; None where one could not be taken."""
    return {name: one.take(log) for name, one in MEASURES.items()}
