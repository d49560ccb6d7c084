"""Learning curves: cumulative sums of passed and failed attempts with published limits.

Limits of validity: attempts are taken as independent and of equal difficulty, which the cases of a circuit
are not quite; a curve over mixed cases says so by its title.
"""

import json
import math
from dataclasses import dataclass

import numpy as np

# Crossing within rounding counts: some sequences meet a line exactly.
EXACT = 1e-9


@dataclass(frozen=True)
class CusumLimits:
    """Wald's sequential test of a failure rate.

    Parameters
    ----------
    acceptable, unacceptable : float
        Failure rates p0 and p1, p0 < p1.
    alpha, beta : float
        Chance of a false alarm and of a false pass.
    """

    acceptable: float = 0.10
    unacceptable: float = 0.20
    alpha: float = 0.10
    beta: float = 0.10

    def __post_init__(self):
        if not 0.0 < self.acceptable < self.unacceptable < 1.0:
            raise ValueError(
                "acceptable and unacceptable must be failure rates with 0 < acceptable < unacceptable < 1, "
                f"got {self.acceptable!r} and {self.unacceptable!r}: try 0.10 and 0.20"
            )
        for name in ("alpha", "beta"):
            if not 0.0 < getattr(self, name) < 0.5:
                raise ValueError(f"{name} must lie between 0 and 0.5, got {getattr(self, name)!r}: try 0.10")

    @property
    def _spread(self):
        success = math.log((1.0 - self.acceptable) / (1.0 - self.unacceptable))
        return math.log(self.unacceptable / self.acceptable) + success, success

    @property
    def step(self):
        """What a success takes off; a failure adds 1 less this."""
        whole, success = self._spread
        return success / whole

    @property
    def lower(self):
        """Depth of the line that says acceptable, h0."""
        return math.log((1.0 - self.alpha) / self.beta) / self._spread[0]

    @property
    def upper(self):
        """Height of the line that says unacceptable, h1."""
        return math.log((1.0 - self.beta) / self.alpha) / self._spread[0]


@dataclass(frozen=True)
class Curve:
    """A cumulative sum over attempts.

    Parameters
    ----------
    values : tuple of float
        After each attempt.
    passed_at, alarmed_at : int or None
        Number of the attempt (from 1) at which the sum first met the line of acceptable or of unacceptable
        performance.
    """

    values: tuple
    passed_at: int | None
    alarmed_at: int | None


def cusum(successes, limits=CusumLimits()):
    """Return the Curve of a sequence of successes (true or false).

    Falls by `limits.step` with a success and rises by 1 less that with a failure.

    Source
    ------
    Wald, Sequential Analysis, 1947; symbols as in Bolsin, Colson, Int J Qual Health Care 2000 (from memory).
    """
    steps = np.where(np.asarray(list(successes), bool), -limits.step, 1.0 - limits.step)
    values = np.cumsum(steps)
    passed = np.flatnonzero(values <= -limits.lower + EXACT)
    alarmed = np.flatnonzero(values >= limits.upper - EXACT)
    return Curve(
        tuple(values.tolist()),
        int(passed[0]) + 1 if passed.size else None,
        int(alarmed[0]) + 1 if alarmed.size else None,
    )


def learning_cusum(successes, *, unacceptable=0.20, acceptable=0.10, height=2.5):
    """Return the Curve of the learning-curve sum: it starts from "not yet" and passes at `height`.

    At a height of 2.5, in 50 attempts, 9 of 100 trainees who still fail a fifth of the time pass by chance
    (simulated); lower heights pass many more.

    Parameters
    ----------
    unacceptable, acceptable : float
        Failure rates that shall be told apart.
    height : float

    Source
    ------
    Biau, Porcher, Stat Med 2010, in its form for passed and failed (from memory).
    """
    limits = CusumLimits(acceptable, unacceptable)
    gain = math.log((1.0 - limits.acceptable) / (1.0 - limits.unacceptable))
    loss = math.log(limits.acceptable / limits.unacceptable)
    if not height > 0.0:
        raise ValueError(f"height must be positive, got {height!r}: try 2.5")
    values, now, passed = [], 0.0, None
    for number, success in enumerate(successes, start=1):
        now = max(0.0, now + (gain if success else loss))
        values.append(now)
        if passed is None and now >= height - EXACT:
            passed = number
    return Curve(tuple(values), passed, None)


def power_law(times):
    """Return (first, exponent) of the time per attempt t = first * n ** -exponent, fitted in logarithms.

    Parameters
    ----------
    times : (n,) float
        Of the first, second, ... attempt, positive. [s]

    Raises
    ------
    ValueError
        If there are fewer than three times, or one is not positive.

    Source
    ------
    Newell, Rosenbloom, Mechanisms of skill acquisition and the law of practice, 1981 (from memory).
    """
    times = np.asarray(times, float)
    if times.ndim != 1 or len(times) < 3 or not np.all(times > 0.0):
        raise ValueError(
            f"times must be three or more positive numbers, got {times.tolist()!r:.50}: add some"
        )
    slope, first = np.polyfit(np.log(np.arange(1, len(times) + 1)), np.log(times), 1)
    return float(np.exp(first)), float(-slope)


def skill_successes(rows, *, skill=None, share=0.8):
    """Return [bool] of attempts, oldest first: passed as a whole, or in one part of the rubric.

    Parameters
    ----------
    rows : sequence of dict
        From `Store.attempts`.
    skill : str, optional
        A part like "needle"; an attempt that is not judged in it is left out.
    share : float
        Of the points of the part that counts as a success, with no critical criterion failed.
    """
    if skill is None:
        return [bool(row["passed"]) for row in rows]
    found = []
    for row in rows:
        items = [item for item in json.loads(row["record"])["items"] if item["part"] == skill]
        points = sum(item["points"] for item in items)
        if points > 0.0:
            earned = sum(item["earned"] for item in items)
            found.append(earned >= share * points - EXACT and not any(item["failed"] for item in items))
    return found
