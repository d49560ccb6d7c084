"""What pushes, rubs and holds a lead in the canal: wall, dura, friction, the track in the fat, a neighbour.

Contact reads the canal's chart: a signed distance to the wall (positive inside the canal) and to the dura
(positive outside it), both twice differentiable. A node presses in by depth = radius - distance, with energy
w (k/2 depth² + k3/4 depth⁴); of the field's second derivative only the hollow of the wall is kept: the
Hessian stays definite. Friction is lagged: normal force and frame come from the solution before.

Source
------
Formulation of this project. Lagged friction potential after Li et al., Incremental Potential Contact,
ACM TOG 2020 (from memory). All tissue figures are assumed: see meshes/tables/lead.csv.
"""

import math

import numpy as np

from meshes.canal_kernels import chart_contact
from meshes.compiled import kernel
from trainer.physics.rod_energy import add_point_diagonal, add_point_pair, slip_law
from trainer.physics.rod_frames import cross, dot, length, mix, row, scaled
from trainer.physics.rod_joint import add_vector
from trainer.physics.rod_model import WALL

TINY = 1e-30
# Segments of the neighbour that are tried on either side of the nearest node.
SEARCHED = 4
# Below this the lead runs at the wall head on; nearer to the axis than this the radius means little. [mm]
LEAST_AROUND, LEAST_RADIUS = 0.3, 1.0
ONE = np.int64(1)


@kernel
def touch(curve, problem, system, contacts):
    """Add contact, friction and the neighbour of all free nodes; fill `contacts`."""
    canal, tissue, nodal, neighbour = problem.canal, problem.tissue, problem.nodal, problem.neighbour
    if canal.frame_coefficients.shape[0] == 0:
        return 0.0
    energy = 0.0
    found, work = np.empty(11), np.empty(52)
    for i in range(2, curve.nodes.shape[0]):
        point = row(curve.nodes, i)
        locate(canal, point, i, contacts, found, work)
        weight = nodal.weight[i]
        for surface in range(2):
            depth = tissue.radius - found[4 * surface] - nodal.room[i, surface]
            linear, cubic = weight * tissue.stiffness[surface], weight * tissue.stiffening[surface]
            contacts.depth[i, surface] = depth
            contacts.force[i, surface] = push(depth, linear, cubic)
            if depth > 0.0:
                energy += press(i, depth, linear, cubic, row(contacts.normal[i], surface), system)
                if surface == WALL:
                    hollow(contacts, i, row(curve.tangents, i - 1), system)
            limit = tissue.friction[surface] * nodal.friction_scale[i] * problem.lagged.force[i, surface]
            if limit > 0.0:
                energy += rub(point, curve.spin[i - 1], i, surface, limit, tissue, problem.lagged, system)
        if neighbour.nodes.shape[0] > 1:
            away, distance = from_polyline(point, neighbour.nodes, neighbour.nearest[i])
            contacts.gap[i] = distance - tissue.radius - neighbour.radius
            if contacts.gap[i] < 0.0:
                energy += press(i, -contacts.gap[i], weight * tissue.stiffness[0], 0.0, away, system)
    return energy


@kernel(inline=True)
def locate(canal, point, i, contacts, found, work):
    """Write node i's place in the chart and the two normals; `found` gets the distances."""
    tables = canal.frame_coefficients, canal.surface_coefficients, canal.height_table, canal.params
    x, y, z = point
    chart_contact(*tables, x, y, z, contacts.place[i, 0], found, work)
    for c in range(3):
        contacts.normal[i, 0, c] = found[1 + c]
        contacts.normal[i, 1, c] = found[5 + c]
        contacts.place[i, c] = found[8 + c]


@kernel
def push(depth, linear, cubic):
    """Return the normal force of a surface that is pressed in by `depth`."""
    return linear * depth + cubic * depth * depth * depth if depth > 0.0 else 0.0


@kernel
def press(i, depth, linear, cubic, normal, system):
    """Add a surface that is pressed in at node i, `normal` being the gradient of the distance to it."""
    square = depth * depth
    add_vector(system.gradient, 4 * i, scaled(-push(depth, linear, cubic), normal))
    add_point_pair(system.band, i, linear + 3.0 * cubic * square, normal, normal)
    return (0.5 * linear + 0.25 * cubic * square) * square


@kernel
def hollow(contacts, i, tangent, system):
    """Add the curvature of a hollow wall, force over radius, round it: it steers back what slips aside.

    Of the field's second derivative only this, the largest part and the safe one; that of the dura, which is
    round the other way, would leave the Hessian indefinite.
    """
    around = cross(row(contacts.normal[i], WALL), tangent)
    size = length(around)
    if size > LEAST_AROUND:
        stiffness = contacts.force[i, WALL] / max(contacts.place[i, 2], LEAST_RADIUS)
        add_point_pair(system.band, i, stiffness / (size * size), around, around)


@kernel
def rub(point, spin, i, surface, limit, tissue, lagged, system):
    """Add friction of node i: axial, sideways and rolling slip share one stick-slip law.

    Slip is stored slip + (motion along, motion across - radius times spin); while it sticks a turning lead is
    held, and a push that makes it slide frees the torque.
    """
    moved = mix(1.0, point, -1.0, row(lagged.reference, i))
    along, across = row(lagged.along, i), row(lagged.across[i], surface)
    lever = -tissue.radius * lagged.grip[i, surface]
    axial = lagged.slip[i, surface, 0] + dot(moved, along)
    lateral = lagged.slip[i, surface, 1] + dot(moved, across) + lever * spin
    slip = math.sqrt(axial * axial + lateral * lateral)
    value, secant, slope = slip_law(slip, tissue.slip_range)
    bent = (slope - secant) / (slip * slip + TINY)
    add_rubbing(i, limit, axial, lateral, secant, bent, along, across, lever, system)
    return limit * value


@kernel
def add_rubbing(i, limit, axial, lateral, secant, bent, along, across, lever, system):
    """Add the derivatives of friction by the position of node i and the spin of the edge before it."""
    spin = 4 * i - 1
    axial_stiff = limit * (secant + bent * axial * axial)
    lateral_stiff = limit * (secant + bent * lateral * lateral)
    both = limit * bent * axial * lateral
    add_vector(system.gradient, 4 * i, mix(limit * secant * axial, along, limit * secant * lateral, across))
    system.gradient[spin] += limit * secant * lateral * lever
    add_point_pair(system.band, i, axial_stiff, along, along)
    add_point_pair(system.band, i, 2.0 * both, along, across)
    add_point_pair(system.band, i, lateral_stiff, across, across)
    add_vector(system.band[spin], ONE, mix(lever * both, along, lever * lateral_stiff, across))
    system.band[spin, 0] += lateral_stiff * lever * lever


@kernel
def from_polyline(point, nodes, nearest):
    """Return the unit vector from a polyline to a point, and their distance, near one of its nodes."""
    best, direction = np.inf, (0.0, 0.0, 0.0)
    for s in range(max(nearest - SEARCHED, 0), min(nearest + SEARCHED, nodes.shape[0] - 1)):
        start = row(nodes, s)
        segment = mix(1.0, row(nodes, s + 1), -1.0, start)
        offset = mix(1.0, point, -1.0, start)
        share = min(max(dot(offset, segment) / dot(segment, segment), 0.0), 1.0)
        offset = mix(1.0, offset, -share, segment)
        distance = length(offset)
        if distance < best:
            best, direction = distance, scaled(1.0 / (distance + TINY), offset)
    return direction, best


@kernel
def remember_track(nodes, tissue, nodal, lagged, system):
    """Add the loose fat that holds the lead to its track: it yields sideways, and is free along it.

    The tip makes its own way and is not held.
    """
    if tissue.memory_force <= 0.0:
        return 0.0
    energy = 0.0
    for i in range(2, nodes.shape[0] - 1):
        along = row(lagged.along, i)
        shift = mix(1.0, row(nodes, i), -1.0, row(lagged.track, i))
        shift = mix(1.0, shift, 1.0, row(lagged.track_slip, i))
        shift = mix(1.0, shift, -dot(shift, along), along)
        size = length(shift)
        value, secant, slope = slip_law(size, tissue.memory_range)
        limit = tissue.memory_force * nodal.weight[i] * nodal.memory_scale[i]
        energy += limit * value
        add_vector(system.gradient, 4 * i, scaled(limit * secant, shift))
        add_point_diagonal(system.band, i, limit * secant)
        add_point_pair(system.band, i, -limit * secant, along, along)
        add_point_pair(system.band, i, limit * (slope - secant) / (size * size + TINY), shift, shift)
    return energy
