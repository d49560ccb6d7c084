"""Elastic energy of a whole rod, added to a gradient and an exact banded Hessian: stretch, bend, twist, hub.

Every function returns its energy [N·mm] and adds its derivatives to a `System`. The first edge lies in the
needle: it does not stretch, and only half of the first free edge bends at the mouth.
"""

import numpy as np

from meshes.compiled import kernel
from trainer.physics.rod_frames import cross, dot, length, mix, row, scaled
from trainer.physics.rod_joint import (
    add_curvature_hessian,
    add_twist_hessian,
    add_vector,
    curvature,
    joint_at,
    twist_gradient,
)

FOLDED = 1e-3  # least 1 + cos of the turn at a joint that still counts as a rod
IMPOSSIBLE = 1e30


@kernel
def clear(system):
    """Set gradient and Hessian to zero."""
    # Loops: slice assignments bring numba's code for error messages, which takes seconds to compile.
    band = system.band
    for j in range(band.shape[0]):
        for k in range(band.shape[1]):
            band[j, k] = 0.0
    for j in range(system.gradient.shape[0]):
        system.gradient[j] = 0.0


@kernel
def add_point_pair(band, i, weight, a, b):
    """Add weight (a b^T + b a^T) / 2 to the Hessian of node i (lower triangle)."""
    j, half = 4 * i, 0.5 * weight
    band[j, 0] += weight * a[0] * b[0]
    band[j, 1] += half * (a[1] * b[0] + b[1] * a[0])
    band[j, 2] += half * (a[2] * b[0] + b[2] * a[0])
    band[j + 1, 0] += weight * a[1] * b[1]
    band[j + 1, 1] += half * (a[2] * b[1] + b[2] * a[1])
    band[j + 2, 0] += weight * a[2] * b[2]


@kernel
def add_point_diagonal(band, i, weight):
    """Add weight times the identity to the Hessian of node i."""
    for c in range(3):
        band[4 * i + c, 0] += weight


@kernel
def stretch(curve, elastic, system):
    """Add EA/(2 l) (|e| - l)^2 of every edge outside the needle."""
    energy = 0.0
    rest = elastic.rest_lengths
    for j in range(1, rest.shape[0]):
        edge = mix(1.0, row(curve.nodes, j + 1), -1.0, row(curve.nodes, j))
        stiffness = elastic.axial / rest[j]
        stretched = length(edge)
        tension = stiffness * (stretched - rest[j])
        energy += 0.5 * tension * (stretched - rest[j])
        add_edge(system, j, row(curve.tangents, j), tension, stiffness, tension / stretched)
    return energy


@kernel
def add_edge(system, j, tangent, tension, stiffness, across):
    """Add the derivatives of one edge: `stiffness` along its tangent and `across` it."""
    add_vector(system.gradient, 4 * j, scaled(-tension, tangent))
    add_vector(system.gradient, 4 * (j + 1), scaled(tension, tangent))
    for i in (j, j + 1):
        add_point_pair(system.band, i, stiffness - across, tangent, tangent)
        add_point_diagonal(system.band, i, across)
    band, k, along = system.band, 4 * j, scaled(stiffness - across, tangent)
    tx, ty, tz = tangent
    band[k, 4] -= along[0] * tx + across
    band[k, 5] -= along[1] * tx
    band[k, 6] -= along[2] * tx
    band[k + 1, 3] -= along[0] * ty
    band[k + 1, 4] -= along[1] * ty + across
    band[k + 1, 5] -= along[2] * ty
    band[k + 2, 2] -= along[0] * tz
    band[k + 2, 3] -= along[1] * tz
    band[k + 2, 4] -= along[2] * tz + across


@kernel
def joint_length(rest_lengths, i):
    """Return the length of rod that joint i stands for."""
    return 0.5 * (rest_lengths[i] + (rest_lengths[i - 1] if i > 1 else 0.0))


@kernel
def bend_and_twist(curve, elastic, system):
    """Add EI/(2 l) |k - k0|^2 + GJ/(2 l) twist^2 of every joint; IMPOSSIBLE if one folds back."""
    energy = 0.0
    gradients = np.empty((3, 8))
    block = np.empty((8, 8))
    for i in range(1, curve.nodes.shape[0] - 1):
        if 1.0 + dot(row(curve.tangents, i - 1), row(curve.tangents, i)) < FOLDED:
            return IMPOSSIBLE
        span = joint_length(elastic.rest_lengths, i)
        energy += joint_derivatives(
            curve,
            i,
            elastic.bending[i] / span,
            elastic.torsion[i] / span,
            elastic.natural[i],
            gradients,
            block,
        )
        add_joint_gradient(system.gradient, 4 * (i - 1), gradients)
        add_joint_block(system.band, 4 * (i - 1), block)
    return energy


@kernel
def joint_derivatives(curve, i, bending, torsion, natural, gradients, block):
    """Return a joint's energy; write its gradient into gradients[0] and its upper Hessian into `block`.

    The first component of the curvature turns the rod towards its director m (m2 = t x m), the second
    across it.
    """
    joint = joint_at(curve, i)
    first_e, first_f = row(curve.directors, i - 1), row(curve.directors, i)
    second_e, second_f = cross(joint.before, first_e), cross(joint.after, first_f)
    back_e, back_f = scaled(-1.0, first_e), scaled(-1.0, first_f)
    opposite_e, opposite_f = scaled(-1.0, second_e), scaled(-1.0, second_f)

    towards = curvature(joint, second_e, second_f, back_e, back_f, gradients[0])
    sideways = curvature(joint, back_e, back_f, opposite_e, opposite_f, gradients[1])
    twist_gradient(joint, gradients[2])
    twist = curve.twist[i - 1]
    by_towards, by_sideways, by_twist = bending * (towards - natural), bending * sideways, torsion * twist

    gauss_newton(block, gradients, bending, torsion)
    add_curvature_hessian(block, by_towards, towards, joint, second_e, second_f, back_e, back_f, gradients[0])
    add_curvature_hessian(
        block, by_sideways, sideways, joint, back_e, back_f, opposite_e, opposite_f, gradients[1]
    )
    add_twist_hessian(block, by_twist, joint)
    for a in range(8):
        gradients[0, a] = (
            by_towards * gradients[0, a] + by_sideways * gradients[1, a] + by_twist * gradients[2, a]
        )
    return 0.5 * (by_towards * (towards - natural) + by_sideways * sideways + by_twist * twist)


@kernel
def gauss_newton(block, gradients, bending, torsion):
    """Write the products of first derivatives of a joint."""
    for a in range(8):
        one, two, three = bending * gradients[0, a], bending * gradients[1, a], torsion * gradients[2, a]
        for b in range(8):
            block[a, b] = one * gradients[0, b] + two * gradients[1, b] + three * gradients[2, b]


@kernel
def add_joint_gradient(gradient, q, gradients):
    """Add a joint's gradient by (e, f, two spins) to that by (x, spin, x, spin, x) from entry q on."""
    for c in range(3):
        by_e, by_f = gradients[0, c], gradients[0, 3 + c]
        gradient[q + c] -= by_e
        gradient[q + 4 + c] += by_e - by_f
        gradient[q + 8 + c] += by_f
    gradient[q + 3] += gradients[0, 6]
    gradient[q + 7] += gradients[0, 7]


@kernel
def add_joint_block(band, q, block):
    """Add a joint's upper Hessian by (e, f, two spins) to the band by (x, spin, x, spin, x) from q on."""
    for b in range(3):
        for a in range(3):
            ee, ff, ef, fe = block[a, b], block[3 + a, 3 + b], block[a, 3 + b], block[b, 3 + a]
            if a >= b:
                band[q + b, a - b] += ee
                band[q + 4 + b, a - b] += ee - ef - fe + ff
                band[q + 8 + b, a - b] += ff
            band[q + b, 4 + a - b] += fe - ee
            band[q + b, 8 + a - b] -= fe
            band[q + 4 + b, 4 + a - b] += fe - ff
        band[q + b, 3 - b] -= block[6, b]
        band[q + 3, 1 + b] += block[6, b] - block[6, 3 + b]
        band[q + 3, 5 + b] += block[6, 3 + b]
        band[q + b, 7 - b] -= block[7, b]
        band[q + 4 + b, 3 - b] += block[7, b] - block[7, 3 + b]
        band[q + 7, 1 + b] += block[7, 3 + b]
    band[q + 3, 0] += block[6, 6]
    band[q + 7, 0] += block[7, 7]
    band[q + 3, 4] += block[6, 7]


@kernel
def hub_torque(turned, hub, system):
    """Add the shaft outside as a torsion spring, and the stick-slip drag of the needle on the first edge."""
    lag = hub.angle - hub.spin - turned
    system.gradient[3] -= hub.stiffness * lag
    system.band[3, 0] += hub.stiffness
    energy = 0.5 * hub.stiffness * lag * lag
    if hub.drag_torque <= 0.0:
        return energy
    slip = turned + hub.drag_slip
    value, secant, slope = slip_law(abs(slip), hub.drag_range)
    system.gradient[3] += hub.drag_torque * secant * slip
    system.band[3, 0] += hub.drag_torque * slope
    return energy + hub.drag_torque * value


@kernel
def slip_law(slip, reach):
    """Return the potential f, f'/slip and f'' of a stick-slip law.

    The force f' = 2 s - s^2 with s = slip / reach rises smoothly to 1 at `reach`, and stays there.
    """
    if slip < reach:
        s = slip / reach
        return reach * (s * s - s * s * s / 3.0), (2.0 - s) / reach, 2.0 * (1.0 - s) / reach
    return slip - reach / 3.0, 1.0 / slip, 0.0


@kernel
def dead_loads(nodes, loads, gradient):
    """Add forces that neither turn nor fade."""
    energy = 0.0
    for i in range(loads.shape[0]):
        force = row(loads, i)
        energy -= dot(force, row(nodes, i))
        add_vector(gradient, 4 * i, scaled(-1.0, force))
    return energy
