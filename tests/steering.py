"""The reference performer's hand on a lead from a given mouth, without needle and journal."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np

from meshes.anatomy import build_anatomy
from meshes.units import radians
from meshes.variation import draw_adult
from trainer.attempt import events as e
from trainer.attempt.performer_habits import Habits
from trainer.attempt.performer_lead import LeadWork
from trainer.physics.lead import advance, insert_lead, rotate
from trainer.physics.mouth import mouth_from_placement

ARRAY = 53.0  # of the lead must lie dorsal behind its tip [mm]
LONGEST_NAIVE = 190.0


@dataclass(frozen=True)
class Steered:
    """How a lead was steered to the top of T8."""

    reached: bool
    offset: float  # of the tip from the sac's middle [mm]
    dorsal: bool
    redirections: int
    push: float  # largest [N]
    dent: float  # largest [mm]
    ventral: float  # share of the lead
    unconverged: int
    commands: int

    @property
    def good(self):
        return self.reached and abs(self.offset) <= 2.0 and self.dorsal


class Hand:
    """What LeadWork needs of a performance, with nothing but a lead in it."""

    def __init__(self, anatomy, lead, *, seed):
        self.attempt = SimpleNamespace(anatomy=anatomy)
        self.habits, self.target, self.task = Habits(), "T8", SimpleNamespace(target_offset_mm=0.0)
        self.reading = np.random.default_rng(seed)
        self.state = SimpleNamespace(lead=lead)
        self.performance = SimpleNamespace(redirections=0, withdrawals=0, turns=0, travel=0.0)
        self.push = self.dent = 0.0
        self.unconverged = self.commands = 0

    def progress(self, *_):
        pass

    def do(self, event):
        lead = self.state.lead
        moves = isinstance(event, e.AdvanceLead)
        lead = advance(lead, event.millimetres) if moves else rotate(lead, event.angle)
        self.state.lead = lead
        self.push, self.dent = max(self.push, lead.push), max(self.dent, lead.largest_dent)
        self.commands, self.unconverged = self.commands + 1, self.unconverged + (not lead.converged)


def adult(seed):
    """Return the anatomy of an ordinary adult."""
    return build_anatomy(draw_adult(rng=seed).parameters)


def mouth_of(anatomy, seed, *, approach_deg=None):
    """Return a mouth within 3 mm of the midline at T12-L1 that aims 0 to 15 degrees medially."""
    rng = np.random.default_rng([seed, 77])
    offset, medial, approach, fraction = rng.uniform((-3.0, 0.0, 28.0, 0.5), (3.0, 15.0, 36.0, 0.8))
    return mouth_from_placement(
        anatomy.canal,
        interspace="T12-L1",
        offset=offset,
        medial=radians(medial),
        approach=radians(approach if approach_deg is None else approach_deg),
        fraction=fraction,
    )


def steered(anatomy, mouth, *, seed, naive=False, properties=None):
    """Return how the performer, or a naive one that never turns the hub, came to the top of T8."""
    hand = Hand(anatomy, insert_lead(anatomy.canal, mouth, properties), seed=seed)
    work = LeadWork(hand, "left" if mouth.point[0] > 0.0 else "right")
    reached = _pushed_up(hand, work.goal) if naive else work.steer()
    lead = hand.state.lead
    _, theta, r = lead.place[2:].T
    behind_tip = lead.fed - lead.distances[2:]
    return Steered(
        reached,
        float(r[-1] * np.sin(theta[-1])),
        bool((np.abs(theta[behind_tip <= ARRAY]) < radians(45.0)).all()),
        hand.performance.redirections,
        hand.push,
        hand.dent,
        float((np.abs(theta) > radians(100.0)).mean()),
        hand.unconverged,
        hand.commands,
    )


def _pushed_up(hand, goal):
    while hand.state.lead.place[-1, 0] < goal - 0.5:
        if hand.state.lead.fed >= LONGEST_NAIVE:
            return False
        hand.do(e.AdvanceLead(1.0))
    return True
