"""Feed a lead through the clamped mouth: slide it along its own curve, split and merge the edge at the mouth.

Node 0 lies in the needle, node 1 in its mouth; both are held. A step first slides every free node along the
present curve (a first edge that only grew would be crushed), then splits the first free edge when it has
become too long. When withdrawing, merge first: else a node lands behind the mouth.
"""

from typing import NamedTuple

import numpy as np

from trainer.physics.rod_frames import carry, retwist

# The first free edge is split above and merged below these shares of the usual edge.
SPLIT_ABOVE, MERGE_BELOW = 1.5, 0.5
# The curve goes straight on beyond the tip. [mm]
BEYOND_TIP = 5.0
FEWEST_NODES = 5


class NodeMemory(NamedTuple):
    """What each node remembers from the solution before."""

    slip: np.ndarray  # (n, 2, 2)
    track_slip: np.ndarray  # (n, 3)
    force: np.ndarray  # (n, 2)
    normal: np.ndarray  # (n, 2, 3)
    station: np.ndarray  # (n,)


class Shaft(NamedTuple):
    """A lead's free part with what it remembers."""

    nodes: np.ndarray  # (n, 3)
    directors: np.ndarray  # (n - 1, 3)
    twist: np.ndarray  # (n - 2,)
    rest_lengths: np.ndarray  # (n - 1,)
    memory: NodeMemory


def tangents_of(nodes):
    """Return unit tangents (n - 1, 3)."""
    edges = nodes[1:] - nodes[:-1]
    return edges / np.sqrt((edges * edges).sum(1))[:, None]


def straight_shaft(mouth, *, length, edge):
    """Return a Shaft of `length` mm straight out of the mouth, its pre-bend pointing up."""
    free = max(2, round(length / edge))
    steps = np.concatenate(([-edge], np.linspace(0.0, length, free + 1)))
    nodes = mouth.point + steps[:, None] * mouth.direction
    count = len(nodes)
    return Shaft(
        nodes,
        np.tile(mouth.up, (count - 1, 1)),
        np.zeros(count - 2),
        np.diff(steps),
        NodeMemory(
            np.zeros((count, 2, 2)),
            np.zeros((count, 3)),
            np.zeros((count, 2)),
            np.zeros((count, 2, 3)),
            np.zeros(count),
        ),
    )


def feed(shaft, distance, *, edge):
    """Return the shaft fed by `distance` [mm], before it finds its equilibrium, and where its nodes were.

    Parameters
    ----------
    shaft : Shaft
        Not changed.
    distance : float
        Less than `edge`; negative withdraws. [mm]
    edge : float
        Usual length of an edge. [mm]

    Returns
    -------
    Shaft, (n, 3) float
        The positions from which the slip of this step counts. [mm]
    """
    while distance < 0.0 and _first_edge_is_short(shaft, distance, edge):
        shaft = merge_first(shaft)
    reference = shaft.nodes
    shaft = slide(shaft, distance)
    if shaft.rest_lengths[1] < SPLIT_ABOVE * edge:
        return shaft, reference
    shaft = split_first(shaft, edge)
    inward = distance * tangents_of(shaft.nodes[:2])
    return shaft, np.concatenate((reference[:2], shaft.nodes[2:3] - inward, reference[2:]))


def _first_edge_is_short(shaft, distance, edge):
    return shaft.rest_lengths[1] + distance < MERGE_BELOW * edge and len(shaft.nodes) > FEWEST_NODES


def slide(shaft, distance):
    """Return the shaft with every free node moved along the present curve; the first free edge grows.

    The fat stays where it is: a node takes over the slip of the place that it comes to.
    """
    nodes = shaft.nodes
    tangents = tangents_of(nodes)
    ahead = np.concatenate((nodes, nodes[-1:] + BEYOND_TIP * tangents[-1]))
    lengths = np.sqrt(((ahead[1:] - ahead[:-1]) ** 2).sum(1))
    arc = np.concatenate(([0.0], np.cumsum(lengths)))
    moved, track_slip = nodes.copy(), np.array(shaft.memory.track_slip)
    uncut = np.concatenate((track_slip[:-1], np.zeros((2, 3))))
    for c in range(3):
        moved[2:, c] = np.interp(arc[2:-1] + distance, arc, ahead[:, c])
        track_slip[2:, c] = np.interp(arc[2:-1] + distance, arc, uncut[:, c])
    directors, rest_lengths = np.array(shaft.directors), shaft.rest_lengths.copy()
    rest_lengths[1] += distance
    new_tangents = tangents_of(moved)
    carry(tangents, new_tangents, directors)
    memory = shaft.memory._replace(track_slip=track_slip)
    return _retwisted(
        shaft._replace(nodes=moved, directors=directors, rest_lengths=rest_lengths, memory=memory),
        new_tangents,
    )


def split_first(shaft, edge):
    """Return the shaft with a new node in the first free edge, one usual edge behind the next node."""
    rest = shaft.rest_lengths
    first = rest[1] - edge
    node = shaft.nodes[1] + (shaft.nodes[2] - shaft.nodes[1]) * (first / rest[1])
    memory = NodeMemory(*(_inserted(array, np.zeros_like(array[:1])) for array in shaft.memory))
    memory.station[2] = memory.station[3]
    memory.track_slip[2] = memory.track_slip[3] * (first / rest[1])
    return Shaft(
        _inserted(shaft.nodes, node[None]),
        _inserted(shaft.directors, shaft.directors[1:2]),
        np.concatenate((shaft.twist[:1], [0.0], shaft.twist[1:])),
        np.concatenate((rest[:1], [first, edge], rest[2:])),
        memory,
    )


def merge_first(shaft):
    """Return the shaft without its first free node."""
    rest = shaft.rest_lengths
    nodes = _without_third(shaft.nodes)
    tangents = tangents_of(nodes)
    directors = np.delete(shaft.directors, 1, axis=0)
    across = directors[1] - (directors[1] @ tangents[1]) * tangents[1]
    directors[1] = across / np.sqrt(across @ across)
    merged = Shaft(
        nodes,
        directors,
        np.concatenate(([shaft.twist[0] + shaft.twist[1]], shaft.twist[2:])),
        np.concatenate((rest[:1], [rest[1] + rest[2]], rest[3:])),
        NodeMemory(*(_without_third(array) for array in shaft.memory)),
    )
    return _retwisted(merged, tangents)


def _retwisted(shaft, tangents):
    twist = shaft.twist.copy()
    retwist(tangents, shaft.directors, shaft.twist.copy(), twist)
    return shaft._replace(twist=twist)


def _inserted(array, row):
    return np.concatenate((array[:2], row, array[2:]))


def _without_third(array):
    return np.concatenate((array[:2], array[3:]))
