"""The aim for needle and lead together: free of bone, and a mouth from which the lead can be steered."""

from dataclasses import dataclass

import numpy as np

from meshes.levels import check_interspace
from meshes.tables.loader import number
from meshes.units import degrees, radians
from trainer.physics.corridor import corridor, legal_approaches, map_places
from trainer.physics.needle import Needle, NeedleAim, check_angles, side_sign
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_trials import Rule, serves_lead, try_aims

CANDIDATES, KEPT, VARIANTS = 300, 15, 10
FIRST_SCATTER, SECOND_SCATTER = 120, 300
VARIATION = np.array([1.5, 1.5, radians(1.5), radians(1.5)])
STEEP = radians(45.0)
FARTHEST_ENTRY = 40.0  # [mm] from the row of spinous processes


class NoCorridorError(ValueError):
    """No needle serves the wanted interspace under the wanted limits."""


@dataclass(frozen=True)
class PlannedAim:
    """An aim that serves needle and lead, and how forgiving it is.

    Parameters
    ----------
    aim : NeedleAim
    chance, novice_chance : float
        Share of needles scattered about this aim, as an expert and as a novice aim, that stay free of
        bone and keep a mouth from which the lead can be steered.
    needle_chance, novice_needle_chance : float
        The same without asking for the mouth.
    share, needle_share : float
        Of the sampled needles that serve both, and the needle alone.
    """

    aim: NeedleAim
    chance: float
    novice_chance: float
    needle_chance: float
    novice_needle_chance: float
    share: float
    needle_share: float

    @property
    def difficulty(self):
        """First passes out of 100 that fail the needle or the lead, half by experts, half by novices."""
        return 100.0 * (1.0 - 0.5 * (self.chance + self.novice_chance))

    @property
    def needle_difficulty(self):
        """First passes out of 100 that fail the needle, half by experts, half by novices."""
        return 100.0 * (1.0 - 0.5 * (self.needle_chance + self.novice_needle_chance))


def _mirrored(sign):
    """Return the factors that turn errors told from the left into errors told from a side."""
    return np.array([sign, 1.0, 1.0, 1.0])


def _certified(anatomy, interspace, places, *, needle, side, for_lead=True):
    """Return the index and the aim of the first of places (n, 4) that a full check has nothing against.

    Failing that, or for the needle alone, the first that passes; (None, None) where none does.
    """
    passing = None, None
    for k, place in enumerate(places):
        aim = NeedleAim(interspace, *(float(v) for v in place), side)
        check = check_needle(anatomy, aim, needle)
        if not check.reaches or not check.passes:
            continue
        if check.faultless or not for_lead:
            return k, aim
        if passing[1] is None:
            passing = k, aim
    return passing


def _chances(anatomy, interspace, places, *, sign, rule, noise, person):
    """Return the share (n,) of needles scattered about each place that are free, and that serve the lead."""
    spread = [number("needle", f"aiming_error.{person}.{kind}") for kind in ("position", "angle")]
    scattered = places[:, None] + noise[None] * np.repeat(spread, 2) * _mirrored(sign)
    # A scattered needle never enters beyond the row of spinous processes.
    row = anatomy.tissue.midline(scattered[..., 1])
    scattered[..., 0] = row + sign * np.maximum(sign * (scattered[..., 0] - row), 1e-6)
    trials = try_aims(anatomy, interspace, scattered.reshape(-1, 4), sign=sign, rule=rule)
    shape = len(places), len(noise)
    lead = serves_lead(trials, "scatter.")
    return trials.free.reshape(shape).mean(axis=1), lead.reshape(shape).mean(axis=1)


def _candidates(found, serving, random):
    """Return places (n, 4) of at most CANDIDATES samples that serve."""
    chosen = np.argwhere(serving)
    if len(chosen) > CANDIDATES:
        chosen = chosen[np.sort(random.choice(len(chosen), CANDIDATES, replace=False))]
    axes = (found.lateral, found.caudal, found.approach, found.medial)
    places = map_places(found.anatomy, found.interspace, found.side, *axes)
    return places.reshape(*serving.shape, 4)[tuple(chosen.T)]


def _varied(anatomy, places, *, sign, largest_approach, random):
    """Return the places and small variations of each (n, 4), within the limits."""
    jitter = random.normal(size=(VARIANTS, 4)) * VARIATION * _mirrored(sign)
    places = np.vstack([places, (places[:, None] + jitter[None]).reshape(-1, 4)])
    row = anatomy.tissue.midline(places[:, 1])
    places[:, 0] = row + sign * np.clip(sign * (places[:, 0] - row), 1e-6, FARTHEST_ENTRY)
    places[:, 2] = np.minimum(places[:, 2], largest_approach)
    return places


def plan_needle(
    anatomy, interspace, *, side="left", needle=None, largest_approach=STEEP, for_lead=True, rng=11
):
    """Return the PlannedAim that forgives most among those that serve needle and lead, or the needle alone.

    Asked of every candidate: free of bone; for the lead also a mouth 2 to 5.5 mm off the midline on the
    entry side, and a line that crosses the midline 9 to 30 mm further up the canal, where steered leads of
    this model succeed. Candidates are scattered as an expert and as a novice would aim; the one with the
    greatest sum of both chances that a full check has nothing against is returned. Mirrored sides of a
    symmetric back give mirrored plans.

    Parameters
    ----------
    largest_approach : float
        To the skin. [rad]
    for_lead : bool
        False asks for the needle's way only: the needle's best aim is not the lead's.
    rng : seed or numpy.random.Generator
        The same seed gives the same aim.

    Raises
    ------
    NoCorridorError
        If no sampled needle serves and passes.
    """
    interspace, needle = check_interspace(interspace), needle or Needle()
    check_angles(largest_approach, 0.0)
    random = np.random.default_rng(rng)
    sign = side_sign(side)
    legal = legal_approaches(largest_approach)
    found = corridor(anatomy, interspace, side=side, needle=needle, approach=legal)
    serving = serves_lead(found.trials) if for_lead else found.free
    if not serving.any():
        raise _no_way(interspace, side, needle, largest_approach)
    noise = random.normal(size=(SECOND_SCATTER, 4))
    rule = Rule.of(needle, margin=0.0, travel=number("needle", "scatter.travel"))
    ask = {"sign": sign, "rule": rule}

    def both(places, count):
        return [
            _chances(anatomy, interspace, places, noise=noise[:count], person=person, **ask)
            for person in ("expert", "novice")
        ]

    places = _candidates(found, serving, random)
    first = sum(chances[for_lead] for chances in both(places, FIRST_SCATTER))
    best = places[np.argsort(-first, kind="stable")[:KEPT]]
    places = _varied(anatomy, best, sign=sign, largest_approach=largest_approach, random=random)
    (needle_chance, chance), (novice_needle, novice) = both(places, SECOND_SCATTER)
    sums = chance + novice if for_lead else needle_chance + novice_needle
    order = np.argsort(-sums, kind="stable")
    first, aim = _certified(anatomy, interspace, places[order], needle=needle, side=side, for_lead=for_lead)
    if aim is None:
        raise _no_way(interspace, side, needle, largest_approach)
    k = order[first]
    chances = (chance[k], novice[k], needle_chance[k], novice_needle[k])
    joint = float(serves_lead(found.trials).mean())
    return PlannedAim(aim, *(float(c) for c in chances), joint, found.share)


def _no_way(interspace, side, needle, largest_approach):
    return NoCorridorError(
        f"interspace must leave a way for needle and lead, got none at {interspace} from the {side} "
        f"at up to {degrees(largest_approach):.0f} degrees with a {needle.length:g} mm needle: "
        "allow a steeper approach, a longer needle, or choose another interspace"
    )
