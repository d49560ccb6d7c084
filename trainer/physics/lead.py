"""A steerable lead in the epidural space: insert it, advance or withdraw it, turn its hub.

Every function returns a new LeadState and leaves the old one as it was. Quasi-static: after each millimetre
the rod is in equilibrium with wall, dura, friction, fat and hub; nothing swings and nothing depends on speed.
The same commands give the same bytes.

Valid for a lead that does not touch itself: stop feeding when it bows by more than about 10 mm.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from trainer.physics.lead_feed import Shaft, feed, straight_shaft
from trainer.physics.lead_properties import LeadProperties
from trainer.physics.lead_settle import chart_tables, outside_length, settle
from trainer.physics.mouth import Mouth
from trainer.physics.rod_model import CanalTables
from trainer.physics.rod_solver import SolverLimits
from trainer.physics.saline import DRY, Saline

__all__ = [
    "LeadProperties",
    "LeadSetup",
    "LeadState",
    "Mouth",
    "advance",
    "insert_lead",
    "rotate",
    "settle_on",
]

EDGE = 1.5  # usual length of an edge [mm]
STEP = 1.0  # most that is fed before the next equilibrium [mm]
FIRST_LENGTH = 4.5  # looks out of the mouth after insertion [mm]
# A hand waits no longer for one frame than for so many Newton steps.
A_FRAME = SolverLimits(iterations=40)
PATIENCE = 5  # frames between two steps of one command
SHORTEST = 4.0  # least that can be left beyond the mouth [mm]


@dataclass(frozen=True, eq=False)
class LeadSetup:
    """What stays the same while one lead is steered.

    `canal` None means free space; of an `intrathecal` lead it is the room between dura and cord.
    """

    canal: object
    mouth: Mouth
    properties: LeadProperties
    tables: CanalTables
    limits: SolverLimits
    neighbour_nodes: np.ndarray | None = None
    neighbour_radius: float = 0.0
    saline: Saline = DRY
    intrathecal: bool = False
    mouth_station: float = 0.0


@dataclass(frozen=True, eq=False)
class LeadState:
    """A lead at rest. All arrays are read-only.

    Parameters
    ----------
    setup : LeadSetup
    shaft : Shaft
        The free part; node 0 lies in the needle, node 1 in its mouth, the last is the tip.
    hub : float
        Turn of the hub since insertion, positive clockwise for the turning hand. [rad]
    fed : float
        Length beyond the mouth. [mm]
    spin, drag_slip : float
        Turn of the shaft in the needle, and of it what the needle's drag has taken up. [rad]
    tip_load : (3,) float
        A dead load on the tip: zero but for validation. [N]
    converged : bool
        False if any step of the last command stopped before equilibrium: trust no forces, `settle_on`.
    residual : float
        Largest force that is left on a node. [N]
    push : float
        Axial force of the hand beyond the needle's own drag. [N]
    side_force : float
        With which the shaft leans on the needle's mouth, across it. [N]
    depth : (n, 2) float
        How far wall and dura are pressed in at each node; negative is room. [mm]
    place : (n, 3) float
        Station, angle and radius of each node in the canal's chart; zero in free space.
    gap : (n,) float
        Room to the neighbouring lead, infinite if there is none. [mm]
    iterations : int
        Newton steps of the last command.
    """

    setup: LeadSetup = field(repr=False)
    shaft: Shaft = field(repr=False)
    hub: float = 0.0
    fed: float = FIRST_LENGTH
    spin: float = 0.0
    drag_slip: float = 0.0
    tip_load: np.ndarray | None = None
    converged: bool = False
    residual: float = 0.0
    push: float = 0.0
    side_force: float = 0.0
    depth: np.ndarray | None = field(default=None, repr=False)
    place: np.ndarray | None = field(default=None, repr=False)
    gap: np.ndarray | None = field(default=None, repr=False)
    iterations: int = 0

    @property
    def properties(self):
        return self.setup.properties

    @property
    def mouth(self):
        return self.setup.mouth

    @property
    def nodes(self):
        """Positions (n, 3), from inside the needle to the tip. [mm]"""
        return self.shaft.nodes

    @property
    def directors(self):
        """Unit vectors (n - 1, 3) across each edge, towards which the pre-bend turns."""
        return self.shaft.directors

    @property
    def distances(self):
        """Length of lead (n,) from the mouth to each node, negative in the needle. [mm]"""
        return np.concatenate(([0.0], np.cumsum(self.shaft.rest_lengths))) - self.shaft.rest_lengths[0]

    @property
    def torque(self):
        """Torque that the turning hand holds. [N·mm]"""
        stiffness = self.properties.torsional_stiffness / outside_length(self.properties, self.fed)
        return stiffness * (self.hub - self.spin)

    @property
    def largest_dent(self):
        """Deepest dent of the dura. [mm]"""
        return max(0.0, float(self.depth[2:, 1].max()))

    @property
    def largest_overlap(self):
        """How far the lead sinks into the wall, an error of the penalty. [mm]"""
        return max(0.0, float(self.depth[2:, 0].max()))


def insert_lead(canal, mouth, properties=None, *, neighbour=None, limits=None, intrathecal=False):
    """Return a lead that looks 4.5 mm out of the needle's mouth, its pre-bend pointing up.

    Parameters
    ----------
    canal : meshes.canal.CanalChart or None
        None leaves out the canal: free space, for validation.
    mouth : Mouth
    properties : LeadProperties, optional
    neighbour : LeadState, optional
        A lead already in place; it does not give way.
    limits : SolverLimits, optional
    intrathecal : bool
        The mouth lies inside the dura: then `canal` must be `intrathecal.inside_dura` of the canal.

    Raises
    ------
    ValueError
        If the mouth lies outside the part of the canal that may be read.
    """
    if canal is not None:
        _check_station(canal, mouth)
    setup = LeadSetup(
        canal,
        mouth,
        properties or LeadProperties(),
        chart_tables(canal),
        limits or A_FRAME,
        None if neighbour is None else np.array(neighbour.nodes),
        0.0 if neighbour is None else neighbour.properties.radius,
        intrathecal=intrathecal,
        mouth_station=0.0 if canal is None else float(canal.to_chart(mouth.point)[0]),
    )
    shaft = straight_shaft(mouth, length=FIRST_LENGTH, edge=EDGE)
    return settle(LeadState(setup, shaft, tip_load=np.zeros(3)), reference=shaft.nodes)


def advance(state, millimetres):
    """Return the lead fed by some millimetres; negative withdraws.

    Raises
    ------
    ValueError
        If less than 4 mm would be left beyond the mouth, or more is fed than the lead is long.
    """
    left = state.fed + millimetres
    if not SHORTEST <= left <= state.properties.length:
        raise ValueError(
            f"millimetres must leave {SHORTEST:g} to {state.properties.length:g} mm beyond the mouth, "
            f"got {millimetres:g} which leaves {left:g}: move it less, or take the lead out"
        )
    steps = steps_of(millimetres)
    return _one_command(state, steps, lambda now: _advance_step(now, millimetres / steps))


def steps_of(millimetres):
    """Return how many equilibria a feed takes: none longer than 1 mm."""
    return max(1, math.ceil(abs(millimetres) / STEP - 1e-9))


def rotate(state, angle):
    """Return the lead after its hub was turned by `angle` [rad], positive clockwise for the turning hand.

    With the patient prone and the hand behind the lead, a positive turn moves a dorsal bend towards the
    patient's right. Friction lets the tip follow late.
    """
    if not math.isfinite(angle):
        raise ValueError(f"angle must be a number, got {angle}: give the turn in radians")
    turned = replace(state, hub=state.hub + angle)
    return _one_command(turned, 1, lambda now: settle(now, reference=now.nodes))


def settle_on(state):
    """Return the lead after some more search for its equilibrium, where the last command was cut short.

    A command spends no more than so many Newton steps, so that a lead which snaps round never freezes the
    hand; what is left is carried on here, or by the next command, which starts from the shape reached. A lead
    at rest is returned as it is.
    """
    return state if state.converged else settle(state, reference=state.nodes)


def _one_command(state, steps, step):
    """Return the state after some steps; before each but the first the lead is given time to come to rest."""
    converged, iterations = True, 0
    for k in range(steps):
        if k:
            state, waited = _rested(state)
            iterations += waited
            converged = converged and state.converged
        state = step(state)
        iterations += state.iterations
    converged = converged and state.converged
    return replace(state, converged=converged, iterations=iterations)


def _rested(state):
    iterations = 0
    for _ in range(PATIENCE):
        if state.converged:
            break
        state = settle_on(state)
        iterations += state.iterations
    return state, iterations


def _advance_step(state, distance):
    shaft, reference = feed(state.shaft, distance, edge=EDGE)
    return settle(replace(state, shaft=shaft, fed=state.fed + distance), reference=reference, fed=distance)


def _check_station(canal, mouth):
    low, high = canal.valid_span
    station = float(canal.to_chart(mouth.point)[0])
    if not low <= station <= high:
        raise ValueError(
            f"mouth must lie between stations {low:g} and {high:g} mm of the canal, got {station:g}: "
            "choose an interspace further from the ends of the model"
        )
