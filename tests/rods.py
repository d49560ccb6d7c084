"""Rods and canals of known shape, for the tests of rod and lead."""

from types import SimpleNamespace

import numpy as np
from scipy.ndimage import spline_filter1d

from trainer.physics.rod_model import Curve, new_contacts, new_system, unloaded
from trainer.physics.rod_solver import SolverLimits, assemble

LENGTH, BENDING, TORSION, AXIAL = 60.0, 100.0, 80.0, 14000.0
EXACT = SolverLimits(iterations=400, tolerance=1e-10, largest_step=10.0)


def straight_rod(edges, *, natural=0.0):
    """Return Curve and Problem of a rod along +z, clamped at z = 0 by one more edge in the clamp.

    `natural` [rad] is spread evenly over its length and turns it towards +y.
    """
    edge = LENGTH / edges
    z = edge * np.arange(-1, edges + 1)
    nodes = np.column_stack((np.zeros_like(z), np.zeros_like(z), z))
    count = len(nodes)
    curve = Curve(
        nodes,
        np.tile([0.0, 0.0, 1.0], (count - 1, 1)),
        np.tile([0.0, 1.0, 0.0], (count - 1, 1)),
        np.zeros(count - 2),
        np.zeros(count),
    )
    shares = np.full(count, 1.0 / edges)
    shares[[0, -1]] = 0.0
    shares[1] *= 0.5
    problem = unloaded(
        nodes,
        rest_lengths=np.full(count - 1, edge),
        bending=BENDING,
        torsion=TORSION,
        axial=AXIAL,
        natural=natural * shares,
    )
    return curve, problem


def buffers(curve):
    """Return an empty Curve, System and Contacts to assemble into."""
    count = len(curve.nodes)
    return Curve(*(np.zeros_like(a) for a in curve)), new_system(count), new_contacts(count)


def assembled(curve, problem, *, step=None):
    """Return (potential, Curve, System, Contacts) after `step` (4n,)."""
    trial = buffers(curve)
    step = np.zeros(4 * len(curve.nodes)) if step is None else step
    return assemble(curve, step, 1.0, problem, *trial), *trial


def dense(band):
    """Return the full symmetric matrix of a lower band."""
    size, width = band.shape[0] - band.shape[1] + 1, band.shape[1]
    matrix = np.zeros((size, size))
    for k in range(width):
        j = np.arange(size - k)
        matrix[j + k, j] = matrix[j, j + k] = band[: size - k, k]
    return matrix


def tube(*, radius, wall, dura=-5.0, angle=np.pi / 2.0, run=20.0):
    """Return a canal that can be read like a chart: a round tube, straight, then bent, then straight.

    Parameters
    ----------
    radius, wall, dura : float
        Of the bend and of the two surfaces; the sac is out of reach where `dura` is negative. [mm]
    angle : float
        The bend turns from +z towards -y, forward in a prone patient. [rad]
    run : float
        Length of each straight part. [mm]
    """
    u = np.arange(0.0, 2.0 * run + radius * angle + 1e-9, 1.0)
    turn = np.clip((u - run) / radius, 0.0, angle)
    behind, ahead = np.minimum(u, run), np.maximum(u - run - radius * angle, 0.0)
    y = -radius * (1.0 - np.cos(turn)) - ahead * np.sin(turn)
    z = behind + radius * np.sin(turn) + ahead * np.cos(turn)
    zero = np.zeros_like(u)
    centre = np.column_stack((zero, y, z))
    tangent = np.column_stack((zero, -np.sin(turn), np.cos(turn)))
    left = np.tile([1.0, 0.0, 0.0], (len(u), 1))
    dorsal = np.cross(tangent, left)
    values = np.hstack((centre, tangent, left, dorsal))
    ends = np.vstack((2.0 * values[:1] - values[1:2], values, 2.0 * values[-1:] - values[-2:-1]))
    heights = np.arange(0.0, z.max(), 2.0)
    rising = np.concatenate(([True], np.diff(z) > 1e-9))
    return SimpleNamespace(
        u=u,
        centre=centre,
        tangent=tangent,
        dorsal=dorsal,
        friction_scale=np.ones_like(u),
        memory_scale=np.ones_like(u),
        valid_span=(0.0, u[-1]),
        frame_coefficients=spline_filter1d(ends, 3, axis=0, mode="mirror")[1:-1].copy(),
        surface_coefficients=np.tile([wall, 1.0, dura, 1.0], (len(u), 8, 1)),
        height_table=np.interp(heights, z[rising], u[rising]),
        params=np.array([0.0, 1.0, 0.0, 2.0]),
        to_chart=lambda points: (np.asarray(points)[..., 2], 0.0, 0.0),
    )
