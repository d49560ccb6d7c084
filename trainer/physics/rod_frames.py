"""Small vectors, and how the material directors of a rod follow its curve.

A vector inside a kernel is a tuple of three floats: no allocation, and formulas read as written.
The director of an edge is carried by the smallest rotation from the old tangent to the new one, then
spun about it: with the material frame stored, no reference frame is needed.

Source
------
Bergou, Wardetzky, Robinson, Audoly, Grinspun, Discrete Elastic Rods, ACM TOG 2008; Bergou et al.,
Discrete Viscous Threads, ACM TOG 2010 (time-parallel transport; both from memory).
"""

import math

from meshes.compiled import kernel


@kernel
def row(array, i):
    """Return row i of an (n, 3) array as a vector."""
    return (array[i, 0], array[i, 1], array[i, 2])


@kernel
def put(array, i, a):
    """Write a vector into row i of an (n, 3) array."""
    array[i, 0], array[i, 1], array[i, 2] = a


@kernel
def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@kernel
def cross(a, b):
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


@kernel
def mix(p, a, q, b):
    """Return p a + q b."""
    return (p * a[0] + q * b[0], p * a[1] + q * b[1], p * a[2] + q * b[2])


@kernel
def scaled(p, a):
    return (p * a[0], p * a[1], p * a[2])


@kernel
def length(a):
    return math.sqrt(dot(a, a))


@kernel
def transport(start, end, a):
    """Return `a` turned by the smallest rotation that takes the unit vector `start` to `end`.

    Undefined where the two are opposite.
    """
    axis = cross(start, end)
    cosine = dot(start, end)
    turned = mix(cosine, a, 1.0, cross(axis, a))
    return mix(1.0, turned, dot(axis, a) / (1.0 + cosine), axis)


@kernel
def upright(a, tangent):
    """Return `a` made perpendicular to a unit tangent, with length one."""
    b = mix(1.0, a, -dot(a, tangent), tangent)
    return scaled(1.0 / length(b), b)


@kernel
def joint_twist(tangent, following, director, next_director, near):
    """Return the angle from a director to the next about the next tangent, unwrapped near `near`."""
    carried = transport(tangent, following, director)
    sine = dot(cross(carried, next_director), following)
    angle = math.atan2(sine, dot(carried, next_director))
    turn = 2.0 * math.pi
    return angle + turn * math.floor((near - angle) / turn + 0.5)


@kernel
def move(curve, step, share, moved):
    """Write into `moved` the curve after `share` of `step` (4n: positions and spins)."""
    nodes = curve.nodes
    for i in range(nodes.shape[0]):
        put(moved.nodes, i, mix(1.0, row(nodes, i), share, (step[4 * i], step[4 * i + 1], step[4 * i + 2])))
    for j in range(nodes.shape[0] - 1):
        edge = mix(1.0, row(moved.nodes, j + 1), -1.0, row(moved.nodes, j))
        tangent = scaled(1.0 / length(edge), edge)
        spin = share * step[4 * j + 3]
        carried = transport(row(curve.tangents, j), tangent, row(curve.directors, j))
        spun = mix(math.cos(spin), carried, math.sin(spin), cross(tangent, carried))
        put(moved.tangents, j, tangent)
        put(moved.directors, j, upright(spun, tangent))
        moved.spin[j] = curve.spin[j] + spin
    retwist(moved.tangents, moved.directors, curve.twist, moved.twist)


@kernel
def retwist(tangents, directors, near, twist):
    """Write the twist (n - 2,) of all joints, each unwrapped near `near`."""
    for j in range(twist.shape[0]):
        twist[j] = joint_twist(
            row(tangents, j), row(tangents, j + 1), row(directors, j), row(directors, j + 1), near[j]
        )


@kernel
def carry(tangents, new_tangents, directors):
    """Carry every director from its old tangent to the new one, in place."""
    for j in range(tangents.shape[0]):
        tangent = row(new_tangents, j)
        carried = transport(row(tangents, j), tangent, row(directors, j))
        put(directors, j, upright(carried, tangent))
