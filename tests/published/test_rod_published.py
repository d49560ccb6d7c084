"""The rod against closed forms of slender-beam theory, evaluated here independently with scipy."""

import math
from dataclasses import replace

import numpy as np
import pytest
from rods import AXIAL, BENDING, EXACT, LENGTH, TORSION, assembled, straight_rod, tube
from scipy.linalg import eig_banded
from scipy.optimize import brentq
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc

from trainer.physics.lead import LeadProperties, Mouth, advance, insert_lead
from trainer.physics.rod_model import unloaded
from trainer.physics.rod_solver import SolverLimits, clamped, find_equilibrium, hold


def loaded_tip(edges, force):
    """Return the tip (3,) of a cantilever under a dead load at its tip."""
    curve, problem = straight_rod(edges)
    problem.loads[-1] = force
    found = find_equilibrium(curve, problem, limits=EXACT)
    assert found.converged
    return found.curve.nodes[-1]


def test_cantilever_converges_with_order_two_to_the_closed_form():
    """F L^3 / 3 EI (Euler-Bernoulli), at a load so small that the deflection is 0.1 % of the length."""
    force = 1e-3 * 3.0 * BENDING / LENGTH**2
    exact = force * LENGTH**3 / (3.0 * BENDING)
    errors = [abs(loaded_tip(edges, (0.0, force, 0.0))[1] / exact - 1.0) for edges in (10, 20, 40)]
    assert errors[2] < 4e-4
    # The closed form itself is linear: the true beam is 6e-7 stiffer at this load.
    orders = np.log2(np.array(errors[:2]) / np.array(errors[1:]))
    assert orders == pytest.approx([2.0, 2.0], abs=0.1)


def elastica(load):
    """Return (deflection / L, height / L) of a cantilever for F L^2 / EI = load.

    Bisshopp & Drucker, Large deflection of cantilever beams, Q. Appl. Math. 3:272-275, 1945 (citation from
    memory): sqrt(load) = K(k) - F(theta, k) with k^2 = (1 + sin tip angle) / 2, sin theta = 1 / (k sqrt 2).
    """

    def modulus(tip_angle):
        m = 0.5 * (1.0 + math.sin(tip_angle))
        return m, math.asin(1.0 / math.sqrt(2.0 * m))

    def missing(tip_angle):
        m, theta = modulus(tip_angle)
        return ellipk(m) - ellipkinc(theta, m) - math.sqrt(load)

    tip_angle = brentq(missing, 1e-9, 0.5 * math.pi - 1e-9, xtol=1e-14)
    m, theta = modulus(tip_angle)
    deflection = 1.0 - 2.0 / math.sqrt(load) * (ellipe(m) - ellipeinc(theta, m))
    return deflection, math.sqrt(2.0 * math.sin(tip_angle) / load)


@pytest.mark.parametrize("load", [0.25, 1.0, 2.0, 5.0, 10.0])
def test_elastica(load):
    deflection, height = elastica(load)
    errors = []
    for edges in (40, 80):
        _, y, z = loaded_tip(edges, (0.0, load * BENDING / LENGTH**2, 0.0)) / LENGTH
        errors.append(max(abs(y - deflection), abs(z - height)))
    assert errors[1] < 1.5e-4
    assert errors[0] / errors[1] == pytest.approx(4.0, abs=0.8)


def stability(curve, problem, *, far_end):
    """Return the lowest eigenvalue of the Hessian, the near end and if `far_end` also the other one clamped.

    Held unknowns count as eigenvalues of 1: only the sign of the result is of use.
    """
    _, _, system, _ = assembled(curve, problem)
    held = clamped(len(curve.nodes))
    held[3] = True
    if far_end:
        held[-8:] = True
    hold(system, held)
    lower = system.band[: len(held)].T
    return eig_banded(lower, lower=True, eigvals_only=True, select="i", select_range=(0, 0))[0]


def euler_load(edges):
    """Return the load, in pi^2 EI / 4 L^2, at which the straight clamped-free rod becomes unstable."""

    def missing(share):
        curve, problem = straight_rod(edges)
        load = share * math.pi**2 * BENDING / (4.0 * LENGTH**2)
        curve.nodes[1:, 2] *= 1.0 - load / AXIAL
        return stability(curve, problem, far_end=False)

    return brentq(missing, 0.5, 1.5, xtol=1e-6)


def test_euler_load_of_a_clamped_free_column():
    """P = pi^2 EI / 4 L^2: 1 in these units; the discrete rod comes to it from below with order two."""
    coarse, fine = euler_load(20), euler_load(40)
    assert fine == pytest.approx(1.0, abs=3e-4)
    assert (1.0 - coarse) / (1.0 - fine) == pytest.approx(4.0, abs=0.5)


def greenhill_moment(edges):
    """Return M L / EI at which a straight twisted rod, clamped at both ends, becomes unstable."""
    edge = LENGTH / edges

    def missing(value):
        curve, problem = straight_rod(edges)
        moment = value * BENDING / LENGTH
        z = np.append(curve.nodes[:, 2], LENGTH + edge)
        spans = np.full(edges + 1, edge)
        spans[[0, -1]] = 0.5 * edge
        angles = np.concatenate(([0.0], np.cumsum(moment / TORSION * spans)))
        curve = curve._replace(
            nodes=np.column_stack((0.0 * z, 0.0 * z, z)),
            tangents=np.tile([0.0, 0.0, 1.0], (len(angles), 1)),
            directors=np.column_stack((-np.sin(angles), np.cos(angles), 0.0 * angles)),
            twist=np.diff(angles),
            spin=np.zeros(len(z)),
        )
        return stability(curve, doubly_clamped(problem, z), far_end=True)

    return brentq(missing, 4.0, 14.0, xtol=1e-6)


def doubly_clamped(problem, z):
    """Return the problem with one more edge, in the far clamp: it counts for no length of rod."""
    nodes = np.column_stack((0.0 * z, 0.0 * z, z))
    rest = np.append(problem.elastic.rest_lengths, 1e-6)
    return unloaded(nodes, rest_lengths=rest, bending=BENDING, torsion=TORSION, axial=AXIAL)


def test_greenhill_moment_of_a_rod_clamped_at_both_ends():
    """M L / EI = 2 z with tan z = z: 8.987 (closed form from memory). Order two: Richardson's rule holds."""
    exact = 2.0 * brentq(lambda z: math.tan(z) - z, 4.4, 4.6)
    coarse, middle, fine = (greenhill_moment(edges) for edges in (20, 40, 80))
    assert exact == pytest.approx(8.987, abs=5e-4)
    assert (exact - coarse) / (exact - middle) == pytest.approx(4.0, abs=0.5)
    assert fine + (fine - middle) / 3.0 == pytest.approx(exact, rel=1e-3)


def test_natural_arc_of_a_quarter_circle():
    """A rod with constant natural curvature and no load is a circle: both coordinates are L / (pi / 2)."""
    curve, problem = straight_rod(60, natural=0.5 * math.pi)
    found = find_equilibrium(curve, problem, limits=EXACT)
    radius = LENGTH / (0.5 * math.pi)
    # Half an edge less of it bends: the last joint stands for half of the last edge only.
    assert found.curve.nodes[-1] == pytest.approx([0.0, radius, radius], abs=0.02)
    assert found.energy == pytest.approx(0.0, abs=1e-10)


def pulled_tube(friction):
    """Return a limp lead laid through a quarter bend, with one newton on its tip."""
    canal = tube(radius=30.0, wall=1.2)
    limp = LeadProperties(
        bending_stiffness=1.0,
        torsional_stiffness=1.0,
        bend_angle=0.0,
        wall_friction=0.0,
        dura_friction=0.0,
        memory_force=0.0,
    )
    # On the inner side of the bend: from the middle the lead would turn by 2 degrees at the mouth.
    inner = limp.radius - 1.2
    mouth = Mouth(np.array([0.0, inner, 5.0]), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    lead = advance(insert_lead(canal, mouth, limp, limits=SolverLimits(tolerance=1e-5)), 75.0)
    lead = replace(lead, tip_load=np.array([0.0, -1.0, 0.0]))
    lead = advance(advance(lead, 0.5), -0.5)
    rubbing = replace(lead.setup, properties=limp.with_changes(wall_friction=friction))
    return replace(lead, setup=rubbing)


@pytest.mark.parametrize("friction", [0.1, 0.2, 0.3])
def test_capstan(friction):
    """Euler-Eytelwein: pulling over an angle phi takes exp(mu phi) of the load, paying out exp(-mu phi)."""
    lead = pulled_tube(friction)
    pulled, paid_out = lead, lead
    for _ in range(8):
        pulled, paid_out = advance(pulled, -0.5), advance(paid_out, 0.5)
    gain = math.exp(friction * 0.5 * math.pi)
    assert pulled.converged and paid_out.converged
    assert -pulled.push == pytest.approx(gain, rel=5e-3)
    assert -paid_out.push == pytest.approx(1.0 / gain, rel=5e-3)
