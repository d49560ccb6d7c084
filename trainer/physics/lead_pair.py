"""Two leads side by side, each out of its own needle, that push each other aside.

One lead is moved at a time, and after each millimetre the other gives way: the two equilibria are sought in
turn, each with the other held, so that each answers the other one millimetre late. Contact between them is
frictionless.

Valid for leads that run along each other; a loop of one round the other is not resolved.
"""

from dataclasses import dataclass, replace

import numpy as np

from trainer.physics.lead import advance as advance_lead
from trainer.physics.lead import insert_lead, settle_on, steps_of
from trainer.physics.lead import rotate as rotate_lead
from trainer.physics.lead_settle import settle

# Nodes of the one may press on the other's edges where its own nodes do not yet. [mm]
NEAR = 0.02


@dataclass(frozen=True, eq=False)
class LeadPair:
    """Two leads at rest, `first` and `second`, that know of each other.

    Parameters
    ----------
    leads : tuple of two LeadState
    """

    leads: tuple

    @property
    def converged(self):
        return all(lead.converged for lead in self.leads)

    @property
    def least_gap(self):
        """Least room between the two, negative where they press into each other. [mm]"""
        return min(float(lead.gap[2:].min()) for lead in self.leads)


def insert_second(first, mouth, properties=None):
    """Return the LeadPair of a lead in place and one that looks 4.5 mm out of another needle.

    Raises
    ------
    ValueError
        If the mouth lies outside the part of the canal that may be read.
    """
    second = insert_lead(
        first.setup.canal, mouth, properties or first.properties, neighbour=first, limits=first.setup.limits
    )
    return _yielded((first, second), 1)


def advance(pair, which, millimetres):
    """Return the pair after lead `which` (0 or 1) was fed by some millimetres; negative withdraws.

    Raises
    ------
    ValueError
        As `lead.advance`, or if `which` is neither 0 nor 1.
    """
    check_which(which)
    count = steps_of(millimetres)
    for _ in range(count):
        moved = advance_lead(pair.leads[which], millimetres / count)
        pair = _yielded(_with(pair.leads, which, moved), which)
    return pair


def rotate(pair, which, angle):
    """Return the pair after the hub of lead `which` was turned by `angle` [rad], as `lead.rotate`."""
    check_which(which)
    return _yielded(_with(pair.leads, which, rotate_lead(pair.leads[which], angle)), which)


def settle_pair(pair):
    """Return the pair after some more search for its equilibrium; one at rest is returned as it is."""
    if pair.converged:
        return pair
    return _yielded(tuple(settle_on(lead) for lead in pair.leads), 0)


def check_which(which):
    """Raise ValueError unless `which` names a lead of a pair."""
    if which not in (0, 1):
        raise ValueError(f"which must be 0 or 1, got {which!r}: 0 is the first lead, 1 the second")


def _with(leads, which, lead):
    return (lead, leads[1]) if which == 0 else (leads[0], lead)


def facing(lead, other):
    """Return a lead that knows where the other lies now."""
    nodes = np.array(other.nodes)
    setup = replace(lead.setup, neighbour_nodes=nodes, neighbour_radius=other.properties.radius)
    return replace(lead, setup=setup)


def _yielded(leads, which):
    """Return the LeadPair after the other lead has given way to the one that was moved, if they touch."""
    mover, other = leads[which], facing(leads[1 - which], leads[which])
    if min(_gap(mover), _gap(other)) < NEAR:
        # Pressed upon before, it springs back now.
        other = settle(other, reference=other.nodes, passes=1)
    return LeadPair(_with(_with(leads, which, facing(mover, other)), 1 - which, other))


def _gap(lead):
    return float(lead.gap[2:].min())
