"""What a lead warns of, what the hand feels and what the patient says, from one state to the next: as data.

Pure functions of two states of the same lead, at least a millimetre of feed apart where feed matters. All
limits are assumed: see meshes/tables/lead.csv.
"""

from dataclasses import dataclass

import numpy as np

from meshes.tables.loader import number
from meshes.units import radians
from trainer.physics.lead_release import bevel_can_cut
from trainer.physics.readings import dents, foramen_of, level_at

KINDS = (
    "forced",
    "buckling",
    "loop",
    "dent-near-mouth",
    "dent-elsewhere",
    "ventral",
    "foramen",
    "root",
    "cord",
    "cut",
    "unconverged",
)
# Feeds shorter than this tell nothing about progress. [mm]
LEAST_FEED = 0.5
FEELS = ("free", "firm", "stuck", "soft")
# Where a root's sleeve leaves the sac, as meshes/roots.py has it: share of the body's height above its lower
# rim, mm above that, mm along it, and angle.
SLEEVE_SHARE, SLEEVE_ABOVE, SLEEVE_ALONG = 0.18, 6.0, 4.0
SLEEVE_FROM, SLEEVE_TO = radians(75.0), radians(125.0)
# Where the patient feels a root; common practice, from memory.
DISTRICTS = {
    "T6": "round the chest",
    "T7": "round the lower chest",
    "T8": "round the upper belly",
    "T9": "round the upper belly",
    "T10": "round the belly at the navel",
    "T11": "round the lower belly",
    "T12": "above the groin",
    "L1": "in the groin",
    "L2": "down the front of the thigh",
    "L3": "in the thigh above the knee",
    "L4": "down the shin",
    "L5": "down the outside of the leg to the foot",
}


@dataclass(frozen=True)
class LeadWarning:
    """One warning.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    text : str
    amount, limit : float
        In the unit of the kind: N, mm, or a share.
    says : str
        What the patient says, or nothing.
    """

    kind: str
    text: str
    amount: float
    limit: float
    says: str = ""

    def __str__(self):
        return self.text


@dataclass(frozen=True)
class Feel:
    """What the hand feels.

    Parameters
    ----------
    word : str
        'free'; 'firm' (push above a usual one, and the tip goes on); 'stuck' (the tip stands and the push
        rises); 'soft' (the tip stands and the push does not rise: the lead bows).
    push, change : float
        [N], and since the state before.
    torque : float
        [N·mm]
    """

    word: str
    push: float
    change: float
    torque: float


def progress(before, after):
    """Return what the tip gained along the canal for each mm fed; nan where hardly any was fed."""
    fed = after.fed - before.fed
    if abs(fed) < LEAST_FEED:
        return np.nan
    return float(after.place[-1, 0] - before.place[-1, 0]) / fed


def feel(before, after):
    """Return the Feel of the hand that brought a lead from one state to the next."""
    fed, change, gained = after.fed - before.fed, after.push - before.push, progress(before, after)
    word = "free"
    if fed >= LEAST_FEED and gained < _limit("forced_progress"):
        rising = change / fed > _limit("stuck_rise") or after.push > _limit("soft_push")
        word = "stuck" if rising else "soft"
    elif after.push > _limit("soft_push"):
        word = "firm"
    return Feel(word, after.push, change, after.torque)


def lead_warnings(before, after):
    """Return the LeadWarnings that a lead gives after a command, worst kinds first; none is kept.

    Parameters
    ----------
    before, after : LeadState
        Of the same lead in the same canal.
    """
    canal = after.setup.canal
    if canal is None:
        return ()
    found = [*_of_feed(before, after), *_of_dura(after), *_of_place(after, canal), *_of_roots(after, canal)]
    if bevel_can_cut(before, after):
        limit = number("lead", "needle.cut_side_force")
        leans = max(before.side_force, after.side_force)
        text = (
            f"the lead is drawn over the needle's edge with {leans:.1f} N: it can be cut; draw both together"
        )
        found.append(LeadWarning("cut", text, leans, limit))
    if not after.converged:
        text = "the last step did not come to rest: do not trust its forces"
        found.append(LeadWarning("unconverged", text, after.residual, after.setup.limits.tolerance))
    return tuple(sorted(found, key=lambda warning: KINDS.index(warning.kind)))


def _limit(name):
    return number("lead", f"warning.{name}")


def excess_length(state):
    """Return what has been fed beyond what the tip has gained along the canal: bows and loops. [mm]"""
    return state.fed - float(state.place[-1, 0] - state.setup.mouth_station)


def _of_feed(before, after):
    fed, gained = after.fed - before.fed, progress(before, after)
    excess = excess_length(after)
    if fed >= LEAST_FEED:
        bowed = (excess - excess_length(before)) / fed
        if after.push > _limit("forced_push") and gained < _limit("forced_progress"):
            text = f"the lead is forced: {after.push:.1f} N and the tip does not move; draw back"
            yield LeadWarning("forced", text, after.push, _limit("forced_push"))
        if gained < _limit("buckling_progress") and bowed > _limit("buckling_growth"):
            text = f"the lead bows out: the tip gains {max(gained, 0.0):.1f} mm for each mm fed"
            yield LeadWarning("buckling", text, gained, _limit("buckling_progress"))
    if excess > _limit("loop_excess"):
        text = f"{excess:.0f} mm of lead lie in bows or a loop: draw back until the tip follows"
        yield LeadWarning("loop", text, excess, _limit("loop_excess"))


def _of_dura(state):
    near, elsewhere = dents(state)
    if state.setup.intrathecal:
        deepest = max(near, elsewhere)
        if deepest > _limit("cord_dent"):
            text = f"the lead presses {deepest:.1f} mm into the cord: take it out"
            yield LeadWarning("cord", text, deepest, _limit("cord_dent"), "a shock through both legs")
        return
    for kind, name, amount, place in (
        ("dent-near-mouth", "dent_near_mouth", near, "near the needle's mouth"),
        ("dent-elsewhere", "dent_elsewhere", elsewhere, "along its way"),
    ):
        limit = number("lead", f"reading.{name}")
        if amount > limit:
            yield LeadWarning(kind, f"the lead dents the dura by {amount:.1f} mm {place}", amount, limit)


def _of_place(state, canal):
    foramen = foramen_of(state, canal)
    if foramen is not None:
        limit = number("lead", "reading.foramen_depth")
        level = foramen.level.split("-")[0].split()[0]
        yield LeadWarning("foramen", str(foramen), foramen.depth, limit, _words(level, foramen.side))
    angle, limit = float(np.abs(state.place[-1, 1])), number("lead", "reading.ventral_limit")
    if angle > limit and state.fed > LEAST_FEED:
        text = "the tip has gone round the sac to the front: a frontal picture alone does not tell"
        yield LeadWarning("ventral", text, angle, limit)


def _of_roots(state, canal):
    """Return a warning for every root whose sleeve the lead presses."""
    if state.setup.intrathecal:
        return
    u, theta, _ = state.place[2:].T
    beside = (np.abs(theta) > SLEEVE_FROM) & (np.abs(theta) < SLEEVE_TO)
    pressed = beside & (state.depth[2:, 1] > _limit("root_dent"))
    for level, low, high in canal.level_spans:
        sleeve = low + SLEEVE_SHARE * (high - low) + SLEEVE_ABOVE
        for side, sign in (("left", 1.0), ("right", -1.0)):
            here = pressed & (np.abs(u - sleeve) < SLEEVE_ALONG) & (sign * theta > 0.0)
            if here.any():
                dent = float(state.depth[2:, 1][here].max())
                text = f"the lead presses the {level} root on the {side} ({level_at(canal, sleeve)[0]})"
                yield LeadWarning("root", text, dent, _limit("root_dent"), _words(level, side))


def _words(level, side):
    district = DISTRICTS.get(level)
    return f"a sharp pain on the {side} {district}" if district else f"a sharp pain on the {side}"
