"""The corridor map: which needles reach the epidural space, over entry, approach and medial angle."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from meshes.levels import check_interspace
from meshes.soft_tissue import window_centre
from meshes.units import radians
from trainer.physics.needle import Needle, NeedleAim, side_sign
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_trials import Rule, Trials, serves_lead, try_aims

# What a map samples: entries beside the row of spinous processes and below the window [mm], angles [rad].
LATERAL = np.linspace(0.0, 36.0, 19)
CAUDAL = np.linspace(15.0, 135.0, 49)
APPROACH = radians(np.linspace(15.0, 65.0, 26))
MEDIAL = radians(np.linspace(-5.0, 35.0, 17))
AXES = ("lateral", "caudal", "approach", "medial")


@dataclass(frozen=True, eq=False)
class CorridorMap:
    """Outcome of every sampled needle: Trials arrays over (lateral, caudal, approach, medial).

    Parameters
    ----------
    interspace, side : str
    needle : Needle
    lateral, caudal : (n,) float
        Of the skin entry: from the row of spinous processes, and below the middle of the window. [mm]
    approach, medial : (n,) float
        [rad]
    trials : Trials
        Clearances in it are coarse; `widest` certifies them.
    """

    anatomy: object = field(repr=False)
    interspace: str
    side: str
    needle: Needle
    lateral: np.ndarray
    caudal: np.ndarray
    approach: np.ndarray
    medial: np.ndarray
    trials: Trials = field(repr=False)

    @property
    def free(self):
        """Which needles are free (lateral, caudal, approach, medial)."""
        return self.trials.free

    @cached_property
    def serving(self):
        """Which needles also leave a mouth that suits the lead (lateral, caudal, approach, medial)."""
        return serves_lead(self.trials)

    @property
    def share(self):
        """Free share of the sampled needles; depends on what was sampled."""
        return float(self.free.mean())

    @property
    def joint_share(self):
        """Share of the sampled needles that serve needle and lead."""
        return float(self.serving.mean())

    @property
    def etendue(self):
        """Measure of the free lines, whatever was sampled: sum of |direction . normal| dA dOmega. [mm2 sr]"""
        weight = np.sin(self.approach) * np.cos(self.approach)
        cells = [axis[1] - axis[0] for axis in (self.lateral, self.caudal, self.approach, self.medial)]
        return float((self.free * weight[:, None]).sum() * np.prod(cells))

    def aim(self, index):
        """Return the NeedleAim of one sample, by its four indices."""
        axes = (self.lateral, self.caudal, self.approach, self.medial)
        sample = [axis[n : n + 1] for axis, n in zip(axes, index)]
        place = map_places(self.anatomy, self.interspace, self.side, *sample)[0]
        return NeedleAim(self.interspace, *(float(v) for v in place), self.side)

    def widest(self, *, candidates=60, for_lead=False):
        """Return the NeedleCheck of the needle with the most room to bone, or None where none passes.

        The map's widest candidates are certified one by one; with `for_lead` among those that serve the lead.
        """
        which = self.serving if for_lead else self.free
        chosen = np.argwhere(which)
        order = np.argsort(-self.trials.clearance[which], kind="stable")[:candidates]
        checks = [check_needle(self.anatomy, self.aim(chosen[n]), self.needle) for n in order]
        checks = [check for check in checks if check.passes]
        return max(checks, key=lambda check: check.least_clearance, default=None)

    def over(self, first, second, *, for_lead=False):
        """Return the share (n, m) of needles that are free over two of the four axes, by their names.

        Of all samples of the other two; the table of a heat map.
        """
        which = self.serving if for_lead else self.free
        kept = AXES.index(first), AXES.index(second)
        share = which.mean(axis=tuple(k for k in range(4) if k not in kept))
        return share if kept[0] < kept[1] else share.T

    def places(self, which):
        """Return places (k, 4) of the samples where `which` (lateral, caudal, approach, medial) is true."""
        axes = (self.lateral, self.caudal, self.approach, self.medial)
        places = map_places(self.anatomy, self.interspace, self.side, *axes)
        return places[which.ravel()]


def legal_approaches(largest):
    """Return the approach angles of a map (n,) that are no steeper than `largest`. [rad]"""
    flat = APPROACH[largest + 1e-9 >= APPROACH]
    return flat if flat.size else np.array([largest])


def map_places(anatomy, interspace, side, lateral, caudal, approach, medial):
    """Return places (n, 4) of all combinations: entry x, z, approach, medial."""
    z = window_centre(anatomy.canal, interspace)[2] - caudal
    row = anatomy.tissue.midline(z)
    grid = np.meshgrid(lateral, np.arange(len(z)), approach, medial, indexing="ij")
    column = grid[1].astype(int)
    x = row[column] + side_sign(side) * grid[0]
    return np.stack([x, z[column], grid[2], grid[3]], axis=-1).reshape(-1, 4)


def corridor(
    anatomy,
    interspace,
    *,
    side="left",
    needle=None,
    lateral=LATERAL,
    caudal=CAUDAL,
    approach=APPROACH,
    medial=MEDIAL,
    rule=None,
):
    """Return the CorridorMap of one interspace from one side.

    A needle is free when it enters the epidural space of this interspace within 8 mm of the midline,
    keeps 0.5 mm from bone all the way, is long enough and has one bevel's travel before the dura.

    Parameters
    ----------
    lateral, caudal : (n,) float
        [mm]
    approach, medial : (n,) float
        [rad]
    rule : Rule or None
        Another rule than the table's.
    """
    interspace, needle = check_interspace(interspace), needle or Needle()
    axes = [np.atleast_1d(np.asarray(axis, float)) for axis in (lateral, caudal, approach, medial)]
    places = map_places(anatomy, interspace, side, *axes)
    rule = rule or Rule.of(needle)
    trials = try_aims(anatomy, interspace, places, sign=side_sign(side), rule=rule)
    shape = tuple(len(axis) for axis in axes)
    return CorridorMap(anatomy, interspace, side, needle, *axes, trials.reshaped(shape))
