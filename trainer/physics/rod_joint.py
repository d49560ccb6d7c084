"""Curvature and twist of one joint of a discrete rod, with exact first and second derivatives.

A joint i joins the edges e = x_i - x_(i-1) and f = x_(i+1) - x_i. Its curvature vector is
kb = 2 t_e x t_f / (1 + t_e . t_f), measured on the averaged material directors; its twist is the angle
between the transported directors. Valid while neighbouring edges do not fold back on each other.

Source
------
Bergou et al., Discrete Elastic Rods, ACM TOG 2008, and Discrete Viscous Threads, ACM TOG 2010 (from
memory); second derivatives derived here, and checked against finite differences in the tests.
"""

from typing import NamedTuple

import numpy as np

from meshes.compiled import kernel
from trainer.physics.rod_frames import cross, dot, length, mix, row, scaled

# Where e, f and the two spins stand in a joint's eight unknowns. Numpy integers on purpose: numba compiles a
# function anew for every literal that it is called with.
E, F, SPIN_E, SPIN_F = (np.int64(i) for i in (0, 3, 6, 7))


class Joint(NamedTuple):
    """Geometry of one joint."""

    before: tuple  # unit tangent t_e
    after: tuple  # unit tangent t_f
    mean: tuple  # (t_e + t_f) / chi
    binormal: tuple  # kb
    chi: float  # 1 + t_e . t_f
    length_before: float
    length_after: float


@kernel
def joint_at(curve, i):
    """Return the Joint at node i."""
    before, after = row(curve.tangents, i - 1), row(curve.tangents, i)
    node = row(curve.nodes, i)
    chi = 1.0 + dot(before, after)
    return Joint(
        before,
        after,
        mix(1.0 / chi, before, 1.0 / chi, after),
        scaled(2.0 / chi, cross(before, after)),
        chi,
        length(mix(1.0, node, -1.0, row(curve.nodes, i - 1))),
        length(mix(1.0, row(curve.nodes, i + 1), -1.0, node)),
    )


@kernel
def write(target, start, a):
    target[start], target[start + 1], target[start + 2] = a


@kernel
def add_vector(target, start, a):
    target[start] += a[0]
    target[start + 1] += a[1]
    target[start + 2] += a[2]


@kernel
def add_outer(block, i, j, weight, a, b):
    """Add weight a b^T to the 3 x 3 block of a matrix that begins at (i, j)."""
    add_vector(block[i], j, scaled(weight * a[0], b))
    add_vector(block[i + 1], j, scaled(weight * a[1], b))
    add_vector(block[i + 2], j, scaled(weight * a[2], b))


@kernel
def add_pair(block, i, j, weight, a, b):
    """Add weight (a b^T + b a^T)."""
    add_outer(block, i, j, weight, a, b)
    add_outer(block, i, j, weight, b, a)


@kernel
def add_diagonal(block, i, j, weight):
    block[i, j] += weight
    block[i + 1, j + 1] += weight
    block[i + 2, j + 2] += weight


@kernel
def add_skew(block, i, j, weight, a):
    """Add weight [a]x, the matrix of the cross product with a."""
    block[i, j + 1] -= weight * a[2]
    block[i, j + 2] += weight * a[1]
    block[i + 1, j] += weight * a[2]
    block[i + 1, j + 2] -= weight * a[0]
    block[i + 2, j] -= weight * a[1]
    block[i + 2, j + 1] += weight * a[0]


@kernel
def curvature(joint, director_before, director_after, turning_before, turning_after, gradient):
    """Return one component of a joint's curvature; write its gradient (e 3, f 3, two spins).

    kappa = kb . (m_e + m_f) / 2, with the `director`s m and `turning` dm/dspin.
    """
    total = mix(1.0, director_before, 1.0, director_after)
    kappa = 0.5 * dot(total, joint.binormal)
    mean_director = scaled(1.0 / joint.chi, total)
    by_before = mix(-kappa, joint.mean, 1.0, cross(joint.after, mean_director))
    by_after = mix(-kappa, joint.mean, -1.0, cross(joint.before, mean_director))
    write(gradient, E, scaled(1.0 / joint.length_before, by_before))
    write(gradient, F, scaled(1.0 / joint.length_after, by_after))
    gradient[6] = 0.5 * dot(joint.binormal, turning_before)
    gradient[7] = 0.5 * dot(joint.binormal, turning_after)
    return kappa


@kernel
def add_curvature_hessian(
    block, weight, kappa, joint, director_before, director_after, turning_before, turning_after, gradient
):
    """Add weight times the second derivative of `curvature` to a joint's (8, 8), but for its block (f, e)."""
    le, lf, mean, kb = joint.length_before, joint.length_after, joint.mean, joint.binormal
    by_before = (gradient[0], gradient[1], gradient[2])
    by_after = (gradient[3], gradient[4], gradient[5])
    ee, ff, ef = weight / (le * le), weight / (lf * lf), weight / (le * lf)
    add_pair(block, E, E, -weight / le, mean, by_before)
    add_diagonal(block, E, E, -ee * kappa / joint.chi)
    add_outer(block, E, E, ee * kappa / joint.chi, joint.before, joint.before)
    add_pair(block, E, E, 0.25 * ee, kb, director_before)

    add_pair(block, F, F, -weight / lf, mean, by_after)
    add_diagonal(block, F, F, -ff * kappa / joint.chi)
    add_outer(block, F, F, ff * kappa / joint.chi, joint.after, joint.after)
    add_pair(block, F, F, 0.25 * ff, kb, director_after)

    add_outer(block, E, F, -weight / lf, by_before, mean)
    add_outer(block, E, F, -weight / le, mean, by_after)
    add_diagonal(block, E, F, -ef * kappa / joint.chi)
    add_outer(block, E, F, -ef * kappa / joint.chi, joint.before, joint.after)
    add_skew(block, E, F, -ef, scaled(1.0 / joint.chi, mix(1.0, director_before, 1.0, director_after)))
    add_spin_row(block, SPIN_E, weight, gradient[6], joint, turning_before)
    add_spin_row(block, SPIN_F, weight, gradient[7], joint, turning_after)
    block[6, 6] -= 0.5 * weight * dot(kb, director_before)
    block[7, 7] -= 0.5 * weight * dot(kb, director_after)


@kernel
def add_spin_row(block, spin, weight, by_spin, joint, turning):
    """Add the mixed second derivatives of the curvature by an edge's spin and by e and f."""
    along = scaled(-by_spin, joint.mean)
    by_before = mix(1.0, along, 1.0 / joint.chi, cross(joint.after, turning))
    by_after = mix(1.0, along, -1.0 / joint.chi, cross(joint.before, turning))
    add_vector(block[spin], E, scaled(weight / joint.length_before, by_before))
    add_vector(block[spin], F, scaled(weight / joint.length_after, by_after))


@kernel
def twist_gradient(joint, gradient):
    """Write the gradient of a joint's twist (e 3, f 3, two spins)."""
    write(gradient, E, scaled(0.5 / joint.length_before, joint.binormal))
    write(gradient, F, scaled(0.5 / joint.length_after, joint.binormal))
    gradient[6] = -1.0
    gradient[7] = 1.0


@kernel
def add_twist_hessian(block, weight, joint):
    """Add weight times the second derivative of the twist to a joint's (8, 8)."""
    le, lf, mean, kb = joint.length_before, joint.length_after, joint.mean, joint.binormal
    add_pair(block, E, E, -0.25 * weight / (le * le), kb, mix(1.0, joint.before, 1.0, mean))
    add_pair(block, F, F, -0.25 * weight / (lf * lf), kb, mix(1.0, joint.after, 1.0, mean))
    ef = 0.5 * weight / (le * lf)
    add_skew(block, E, F, 2.0 * ef / joint.chi, joint.before)
    add_outer(block, E, F, -ef, kb, mean)
