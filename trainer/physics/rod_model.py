"""What an elastic rod is to the kernels: bundles of arrays with names.

Units: mm, N, N·mm, N·mm², rad. `n` nodes make `n - 1` edges and `n - 2` inner joints. The unknowns
are, node after node, its position (3) and the spin of the edge that begins there (1): 4n in all.
"""

from typing import NamedTuple

import numpy as np

# Each unknown couples to at most the ten that follow it: two joints share two edges.
BANDWIDTH = 10
WALL, DURA = 0, 1


class Curve(NamedTuple):
    """Where the rod is. The directors are material: they show where the pre-bend points."""

    nodes: np.ndarray  # (n, 3)
    tangents: np.ndarray  # (n - 1, 3) unit
    directors: np.ndarray  # (n - 1, 3) unit, across the edge
    twist: np.ndarray  # (n - 2,) angle between neighbouring directors, unwrapped
    spin: np.ndarray  # (n,) turn of each edge since the command began; the last is unused


class Elastic(NamedTuple):
    """What the rod is made of."""

    rest_lengths: np.ndarray  # (n - 1,)
    bending: np.ndarray  # (n,) EI
    torsion: np.ndarray  # (n,) GJ
    axial: float  # EA
    natural: np.ndarray  # (n,) natural turn of a joint towards its director


class Hub(NamedTuple):
    """The shaft outside the patient, as a torsion spring on the first edge, and the needle's drag on it."""

    angle: float
    stiffness: float  # N·mm
    spin: float  # of the first edge, before this command
    drag_torque: float
    drag_range: float
    drag_slip: float


class CanalTables(NamedTuple):
    """The canal's chart as the contact kernel reads it; no rows mean no canal."""

    frame_coefficients: np.ndarray
    surface_coefficients: np.ndarray
    height_table: np.ndarray
    params: np.ndarray


class Tissue(NamedTuple):
    """How wall and dura (columns 0, 1) and the loose fat answer."""

    radius: float  # of the lead
    stiffness: np.ndarray  # (2,) N/mm per mm of lead
    stiffening: np.ndarray  # (2,) N/mm³ per mm of lead
    friction: np.ndarray  # (2,)
    slip_range: float
    memory_force: float  # N/mm
    memory_range: float


class Nodal(NamedTuple):
    """What differs from node to node."""

    weight: np.ndarray  # (n,) mm of lead that a node stands for
    friction_scale: np.ndarray  # (n,)
    memory_scale: np.ndarray  # (n,)
    room: np.ndarray  # (n, 2) mm by which wall and dura have given way


class Lagged(NamedTuple):
    """Taken from the solution before, and held while solving: it keeps every Hessian block definite."""

    reference: np.ndarray  # (n, 3) positions from which slip counts
    along: np.ndarray  # (n, 3) tangent at the node
    across: np.ndarray  # (n, 2, 3) along wall and dura, across the lead
    grip: np.ndarray  # (n, 2) 1 where there is a normal to roll on, else 0
    force: np.ndarray  # (n, 2) normal force
    slip: np.ndarray  # (n, 2, 2) slip stored before this command: axial, lateral
    track: np.ndarray  # (n, 3) where the fat wants the lead
    track_slip: np.ndarray  # (n, 3) stored


class Neighbour(NamedTuple):
    """A second lead at rest; fewer than two nodes mean none."""

    nodes: np.ndarray  # (m, 3)
    nearest: np.ndarray  # (n,) int64 index of the nearest of them
    radius: float


class System(NamedTuple):
    """Gradient and exact banded Hessian: `band[j, k]` is the entry of row j + k and column j."""

    gradient: np.ndarray  # (4n,)
    band: np.ndarray  # (4n + BANDWIDTH, BANDWIDTH + 1)


class Contacts(NamedTuple):
    """What touched, written while assembling."""

    force: np.ndarray  # (n, 2) N
    depth: np.ndarray  # (n, 2) mm, positive where the lead presses in
    normal: np.ndarray  # (n, 2, 3) gradient of the distance
    place: np.ndarray  # (n, 3) u, theta, r in the canal's chart
    gap: np.ndarray  # (n,) mm to the neighbour


class Problem(NamedTuple):
    """All that stays fixed while one equilibrium is sought."""

    elastic: Elastic
    hub: Hub
    canal: CanalTables
    tissue: Tissue
    nodal: Nodal
    lagged: Lagged
    neighbour: Neighbour
    loads: np.ndarray  # (n, 3) dead loads, N


def new_system(count):
    """Return an empty System for `count` nodes."""
    size = 4 * count
    return System(np.zeros(size), np.zeros((size + BANDWIDTH, BANDWIDTH + 1)))


def new_contacts(count, *, stations=None):
    """Return empty Contacts; `stations` (n,) are guesses of the arc length of each node, 0 = unknown."""
    contacts = Contacts(
        np.zeros((count, 2)),
        np.zeros((count, 2)),
        np.zeros((count, 2, 3)),
        np.zeros((count, 3)),
        np.full(count, np.inf),
    )
    if stations is not None:
        contacts.place[:, 0] = stations
    return contacts


def unloaded(nodes, *, rest_lengths, bending, torsion, axial, natural=None):
    """Return the Problem of a rod in free space with its hub held at zero by a stiff spring."""
    count = len(nodes)
    zeros = np.zeros(count)
    elastic = Elastic(
        np.asarray(rest_lengths, float),
        np.full(count, float(bending)),
        np.full(count, float(torsion)),
        float(axial),
        zeros.copy() if natural is None else np.asarray(natural, float),
    )
    return Problem(
        elastic,
        Hub(0.0, 1.0, 0.0, 0.0, 1.0, 0.0),
        no_canal(),
        Tissue(0.5, np.zeros(2), np.zeros(2), np.zeros(2), 1.0, 0.0, 1.0),
        Nodal(np.ones(count), np.ones(count), np.ones(count), np.zeros((count, 2))),
        at_rest(nodes),
        no_neighbour(count),
        np.zeros((count, 3)),
    )


def no_canal():
    """Return the tables that mean free space."""
    return CanalTables(np.zeros((0, 12)), np.zeros((0, 1, 4)), np.zeros(2), np.zeros(4))


def no_neighbour(count):
    """Return the Neighbour that means there is none."""
    return Neighbour(np.zeros((0, 3)), np.zeros(count, np.int64), 0.0)


def at_rest(nodes):
    """Return Lagged without friction and without memory, all slips counted from `nodes`."""
    count = len(nodes)
    return Lagged(
        np.array(nodes, float),
        np.zeros((count, 3)),
        np.zeros((count, 2, 3)),
        np.zeros((count, 2)),
        np.zeros((count, 2)),
        np.zeros((count, 2, 2)),
        np.array(nodes, float),
        np.zeros((count, 3)),
    )
