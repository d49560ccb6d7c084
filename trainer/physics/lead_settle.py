"""Bring a lead to rest: from what it is, what it remembers and where it lies, to its equilibrium."""

from dataclasses import replace

import numpy as np

from trainer.physics.lead_feed import NodeMemory, tangents_of
from trainer.physics.rod_model import (
    CanalTables,
    Curve,
    Elastic,
    Hub,
    Lagged,
    Neighbour,
    Nodal,
    Problem,
    Tissue,
    no_canal,
    no_neighbour,
)
from trainer.physics.rod_solver import find_equilibrium

# The shaft outside the patient is a torsion spring at least this long. [mm]
SHORTEST_SHAFT = 60.0
# The friction's normal forces and frames are renewed this often within one step.
LAG_PASSES = 2
# The needle, thicker than the lead, holds the tissue off its mouth by so much, and less and less beyond. [mm]
HELD_OFF, HELD_OFF_OVER = 0.4, 3.0
TURNED, TWICE_TURNED = np.array([1, 2, 0]), np.array([2, 0, 1])
# Below this a normal runs along the lead and gives it nothing to roll on.
LEAST_ACROSS = 1e-6


def chart_tables(canal):
    """Return the chart for the kernels: copies, because numba compiles anew for read-only arrays."""
    if canal is None:
        return no_canal()
    return CanalTables(
        np.array(canal.frame_coefficients, float),
        np.array(canal.surface_coefficients, float),
        np.array(canal.height_table, float),
        np.array(canal.params, float),
    )


def settle(state, *, reference, fed=0.0, passes=LAG_PASSES):
    """Return the state in equilibrium; `reference` (n, 3) is where its nodes were before `fed` mm were fed.

    All passes together spend no more Newton steps than the limits allow. What is left then is not lost: a
    further call from here goes on, as if the command had been given in smaller parts.
    """
    shaft = state.shaft
    curve = _start(shaft)
    lagged = _first_lag(shaft, reference)
    force, normal, stations = shaft.memory.force, shaft.memory.normal, shaft.memory.station
    problem = _problem(state, lagged, fed)
    limits, spent = state.setup.limits, 0
    for _ in range(passes):
        lagged = _with_frames(lagged, curve.tangents, force, normal)
        left = replace(limits, iterations=max(limits.iterations - spent, 1)) if spent else limits
        found = find_equilibrium(curve, problem._replace(lagged=lagged), limits=left, stations=stations)
        curve, contacts = found.curve, found.contacts
        force, normal, stations = contacts.force, contacts.normal, contacts.place[:, 0]
        spent += found.iterations
        if not found.converged:
            break
    return _at_rest(state, found, lagged, spent, slides=fed != 0.0)


def _start(shaft):
    return Curve(
        np.array(shaft.nodes),
        tangents_of(shaft.nodes),
        np.array(shaft.directors),
        np.array(shaft.twist),
        np.zeros(len(shaft.nodes)),
    )


def _first_lag(shaft, reference):
    """Return Lagged with stored slips; its frames are filled in before each pass."""
    memory, count = shaft.memory, len(shaft.nodes)
    return Lagged(
        np.array(reference),
        np.zeros((count, 3)),
        np.zeros((count, 2, 3)),
        np.zeros((count, 2)),
        np.zeros((count, 2)),
        np.array(memory.slip),
        np.array(shaft.nodes),
        np.array(memory.track_slip),
    )


def _with_frames(lagged, tangents, force, normal):
    """Return Lagged with the normal forces, and the directions along and across, of the solution before."""
    along = np.concatenate((tangents[:1], tangents[:-1] + tangents[1:], tangents[-1:]))
    along /= np.sqrt((along * along).sum(1))[:, None]
    t = along[:, None]
    # numpy.cross, but for its overhead.
    across = t[..., TURNED] * normal[..., TWICE_TURNED] - t[..., TWICE_TURNED] * normal[..., TURNED]
    size = np.sqrt((across * across).sum(2))
    grip = size > LEAST_ACROSS
    across = np.where(grip[..., None], across / np.maximum(size, LEAST_ACROSS)[..., None], 0.0)
    return lagged._replace(along=along, across=across, grip=grip.astype(float), force=np.array(force))


def _problem(state, lagged, fed):
    properties, shaft = state.properties, state.shaft
    loads = np.zeros_like(shaft.nodes)
    loads[-1] = state.tip_load
    return Problem(
        _elastic(properties, shaft),
        _hub(state, fed),
        state.setup.tables,
        _tissue(properties, in_canal=state.setup.canal is not None),
        _nodal(state.setup, shaft),
        lagged,
        _neighbour(state.setup, shaft.nodes),
        loads,
    )


def outside_length(properties, fed):
    """Return how much shaft lies between the turning hand and the mouth. [mm]"""
    return max(properties.turned_length - fed, SHORTEST_SHAFT)


def _hub(state, fed):
    """Return the shaft outside, and the needle's drag on it.

    Drag acts against the whole slip: while the shaft slides in or out little of it is left to hold a turn.
    """
    properties = state.properties
    return Hub(
        float(state.hub),
        properties.torsional_stiffness / outside_length(properties, state.fed),
        float(state.spin),
        properties.drag_torque,
        max(properties.drag_range, abs(fed) / properties.radius),
        0.0 if fed else float(state.drag_slip),
    )


def _elastic(properties, shaft):
    """Return the rod; its pre-bend is spread over the joints within bend_length of the tip."""
    rest, count = shaft.rest_lengths, len(shaft.nodes)
    spans = np.zeros(count)
    spans[1:-1] = 0.5 * (np.concatenate(([0.0], rest[1:-1])) + rest[1:])
    to_tip = np.concatenate((np.cumsum(rest[::-1])[::-1], [0.0]))
    bent = np.where(to_tip <= properties.bend_length, spans, 0.0)
    return Elastic(
        np.array(rest),
        np.full(count, properties.bending_stiffness),
        np.full(count, properties.torsional_stiffness),
        properties.axial_stiffness,
        properties.bend_angle / properties.bend_length * bent,
    )


def _tissue(properties, *, in_canal):
    return Tissue(
        properties.radius,
        np.array([properties.wall_stiffness, properties.dura_stiffness]),
        np.array([0.0, properties.dura_stiffening]),
        np.array([properties.wall_friction, properties.dura_friction]),
        properties.slip_range,
        properties.memory_force if in_canal else 0.0,
        properties.memory_range,
    )


def _nodal(setup, shaft):
    """Return the length each node stands for, and the scar and saline where it lies."""
    rest, count = shaft.rest_lengths, len(shaft.nodes)
    weight = np.zeros(count)
    weight[1:-1] = 0.5 * (np.concatenate(([0.0], rest[1:-1])) + rest[1:])
    weight[-1] = rest[-1]
    if setup.canal is None:
        return Nodal(weight, np.ones(count), np.ones(count), np.zeros((count, 2)))
    stations, canal = shaft.memory.station, setup.canal
    lowered, loosened = setup.saline.at(stations)
    beyond_mouth = np.concatenate(([0.0], np.cumsum(rest))) - rest[0]
    held_off = HELD_OFF * np.clip(1.0 - beyond_mouth / HELD_OFF_OVER, 0.0, 1.0)
    return Nodal(
        weight,
        np.interp(stations, canal.u, canal.friction_scale),
        np.interp(stations, canal.u, canal.memory_scale) * loosened,
        np.column_stack((held_off, lowered)),
    )


def _neighbour(setup, nodes):
    other = setup.neighbour_nodes
    if other is None:
        return no_neighbour(len(nodes))
    square = (nodes * nodes).sum(1)[:, None] + (other * other).sum(1) - 2.0 * nodes @ other.T
    return Neighbour(np.array(other), square.argmin(1), setup.neighbour_radius)


def _at_rest(state, found, lagged, iterations, *, slides):
    """Return the state at a found equilibrium, with what its nodes will remember."""
    properties, curve, contacts = state.properties, found.curve, found.contacts
    memory = NodeMemory(
        _stored_slip(properties, curve, lagged, contacts.force),
        _stored_track_slip(properties, curve, lagged),
        contacts.force,
        contacts.normal,
        contacts.place[:, 0].copy(),
    )
    shaft = state.shaft._replace(
        nodes=curve.nodes, directors=curve.directors, twist=curve.twist, memory=memory
    )
    for array in (*shaft[:4], *memory, contacts.depth, contacts.place, contacts.gap):
        array.setflags(write=False)
    held = found.system.gradient[0:3] + found.system.gradient[4:7]
    reach = properties.drag_range
    return replace(
        state,
        shaft=shaft,
        spin=state.spin + float(curve.spin[0]),
        drag_slip=0.0 if slides else min(reach, max(-reach, state.drag_slip + float(curve.spin[0]))),
        converged=found.converged,
        residual=float(found.residual),
        push=float(held @ state.mouth.direction),
        side_force=float(np.linalg.norm(held - (held @ state.mouth.direction) * state.mouth.direction)),
        depth=contacts.depth,
        place=contacts.place,
        gap=contacts.gap,
        iterations=iterations,
    )


def _stored_slip(properties, curve, lagged, force):
    """Return the slip (n, 2, 2) that friction keeps for the next command: no longer than its range.

    So a lag in torsion survives from one command to the next.
    """
    moved = (curve.nodes - lagged.reference)[:, None]
    spin = np.concatenate(([0.0], curve.spin[:-1]))[:, None]
    axial = (moved * lagged.along[:, None]).sum(2)
    lateral = (moved * lagged.across).sum(2) - properties.radius * spin * lagged.grip
    slip = lagged.slip + np.stack(np.broadcast_arrays(axial, lateral), axis=-1)
    return np.where((force > 0.0)[..., None], _shortened(slip, properties.slip_range), 0.0)


def _stored_track_slip(properties, curve, lagged):
    shift = curve.nodes - lagged.track + lagged.track_slip
    shift -= (shift * lagged.along).sum(1)[:, None] * lagged.along
    shift = _shortened(shift, properties.memory_range)
    shift[-1] = 0.0
    return shift


def _shortened(vectors, longest):
    size = np.sqrt((vectors * vectors).sum(-1, keepdims=True))
    return vectors * np.minimum(1.0, longest / np.maximum(size, 1e-12))
