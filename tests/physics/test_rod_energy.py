"""The rod's potential: derivatives against central differences, and energies known in closed form."""

import math

import numpy as np
import pytest
from rods import AXIAL, BENDING, TORSION, assembled, dense, straight_rod, tube

from trainer.physics.rod_energy import IMPOSSIBLE, slip_law
from trainer.physics.rod_model import CanalTables, Hub, Lagged, Neighbour, Nodal, Tissue

STEP = 1e-5


def crooked_rod(seed, *, edges=6):
    """Return a rod that is bent, twisted and stretched at random, and loaded."""
    rng = np.random.default_rng(seed)
    curve, problem = straight_rod(edges, natural=0.5)
    count = len(curve.nodes)
    step = rng.normal(0.0, 0.5, 4 * count)
    step[3::4] = rng.normal(0.0, 0.4, count)
    _, bent, _, _ = assembled(curve, problem, step=step)
    # So that the axial terms weigh no more than the others.
    rest = np.linalg.norm(np.diff(bent.nodes, axis=0), axis=1) * rng.uniform(0.97, 1.03, count - 1)
    elastic = problem.elastic._replace(axial=500.0, rest_lengths=rest)
    hub = Hub(0.3, 0.2, 0.1, 0.3, 0.02, 0.004)
    loads = rng.normal(0.0, 0.1, (count, 3))
    return rng, bent._replace(spin=np.zeros(count)), problem._replace(elastic=elastic, hub=hub, loads=loads)


def with_tissue(rng, curve, problem, *, contact):
    """Return the problem with lagged friction and track memory, and, if wanted, a wall that is pressed."""
    count = len(curve.nodes)
    canal = tube(radius=200.0, wall=0.9, dura=0.6, angle=0.2)
    across = rng.normal(size=(count, 2, 3))
    lagged = Lagged(
        curve.nodes + rng.normal(0.0, 0.02, (count, 3)),
        np.vstack((curve.tangents[:1], curve.tangents)),
        across / np.linalg.norm(across, axis=2)[..., None],
        np.ones((count, 2)),
        rng.uniform(0.2, 0.6, (count, 2)),
        rng.normal(0.0, 0.01, (count, 2, 2)),
        curve.nodes + rng.normal(0.0, 0.1, (count, 3)),
        rng.normal(0.0, 0.1, (count, 3)),
    )
    stiffness = np.array([2.0, 0.03]) if contact else np.zeros(2)
    tissue = Tissue(0.65, stiffness, 0.3 * stiffness, np.array([0.15, 0.1]), 0.03, 0.02, 0.3)
    tables = CanalTables(
        canal.frame_coefficients, canal.surface_coefficients, canal.height_table, canal.params
    )
    shifted = curve.nodes[2:] + np.array([0.9, 0.2, 0.0])
    neighbour = Neighbour(shifted, np.clip(np.arange(count) - 2, 0, count - 3), 0.65)
    scale, room = rng.uniform(0.5, 2.0, (3, count)), rng.uniform(0.0, 0.1, (count, 2))
    return problem._replace(
        canal=tables, tissue=tissue, nodal=Nodal(*scale, room), lagged=lagged, neighbour=neighbour
    )


def differences(curve, problem):
    """Return gradient and Hessian by central differences of energy and gradient."""
    size = 4 * len(curve.nodes)
    gradient, hessian = np.zeros(size), np.zeros((size, size))
    for i in range(size):
        (up, _, above, _), (down, _, below, _) = (
            assembled(curve, problem, step=side * STEP * np.eye(size)[i]) for side in (1.0, -1.0)
        )
        gradient[i] = (up - down) / (2.0 * STEP)
        hessian[:, i] = (above.gradient - below.gradient) / (2.0 * STEP)
    # The last spin belongs to no edge.
    return gradient[:-1], hessian[:-1, :-1]


@pytest.mark.parametrize("seed", range(3))
def test_gradient_of_the_elastic_rod(seed):
    _, curve, problem = crooked_rod(seed)
    gradient, _ = differences(curve, problem)
    _, _, system, _ = assembled(curve, problem)
    assert system.gradient[:-1] == pytest.approx(gradient, abs=2e-6 * abs(gradient).max())


@pytest.mark.parametrize("seed", range(3))
def test_hessian_of_the_elastic_rod_is_exact(seed):
    """Spins and moves do not commute, so differences of the gradient are symmetric only on average."""
    _, curve, problem = crooked_rod(seed)
    _, hessian = differences(curve, problem)
    _, _, system, _ = assembled(curve, problem)
    exact = dense(system.band)[:-1, :-1]
    assert abs(exact).max() > 100.0
    assert exact == pytest.approx(0.5 * (hessian + hessian.T), abs=1e-8 * abs(exact).max())


@pytest.mark.parametrize("seed", range(3))
def test_gradient_with_contact_friction_memory_and_neighbour(seed):
    rng, curve, problem = crooked_rod(seed)
    problem = with_tissue(rng, curve, problem, contact=True)
    gradient, _ = differences(curve, problem)
    _, _, system, contacts = assembled(curve, problem)
    assert (contacts.depth[2:] > 0.0).any(axis=0).all() and (contacts.gap[2:] < 0.0).any()
    assert system.gradient[:-1] == pytest.approx(gradient, abs=3e-6 * abs(gradient).max())


@pytest.mark.parametrize("seed", range(3))
def test_hessian_of_friction_and_memory_is_exact(seed):
    """Contact is left out: there the field's second derivative is dropped on purpose."""
    rng, curve, problem = crooked_rod(seed)
    problem = with_tissue(rng, curve, problem, contact=False)
    _, hessian = differences(curve, problem)
    _, _, system, _ = assembled(curve, problem)
    exact = dense(system.band)[:-1, :-1]
    assert exact == pytest.approx(0.5 * (hessian + hessian.T), abs=3e-8 * abs(exact).max())


def test_a_contact_adds_only_stiffness():
    """Gauss-Newton: what contact adds to the Hessian has no negative eigenvalue."""
    rng, curve, problem = crooked_rod(1)
    problem = with_tissue(rng, curve, problem, contact=False)
    pressed = problem._replace(tissue=problem.tissue._replace(stiffness=np.array([2.0, 0.03])))
    without, with_contact = (dense(assembled(curve, p)[2].band) for p in (problem, pressed))
    lowest = np.linalg.eigvalsh(with_contact - without)[0]
    assert abs(with_contact - without).max() > 1.0
    assert lowest > -1e-10


def test_energy_of_a_circular_arc():
    """EI angle^2 / (2 L) for a rod bent to a circle, but for the joint measure 2 tan(half a turn)."""
    edges, turn = 60, 1.0
    curve, problem = straight_rod(edges)
    angles = turn / edges * (np.arange(edges) + 0.5)
    edge = curve.nodes[1, 2] - curve.nodes[0, 2]
    nodes = np.zeros_like(curve.nodes)
    nodes[0, 2] = -edge
    nodes[2:, 1:] = edge * np.cumsum(np.column_stack((np.sin(angles), np.cos(angles))), axis=0)
    energy, _, _, _ = assembled(curve._replace(nodes=nodes), problem)
    length = edge * edges
    assert energy == pytest.approx(BENDING * turn**2 / (2.0 * length), rel=2e-2)
    joint = (2.0 * math.tan(0.5 * turn / edges)) ** 2
    first = (2.0 * math.tan(0.25 * turn / edges)) ** 2
    exact = 0.5 * BENDING * ((edges - 1) * joint / edge + first / (0.5 * edge))
    assert energy == pytest.approx(exact, rel=1e-9)


def test_energy_of_pure_twist_and_pure_stretch():
    curve, problem = straight_rod(10)
    problem = problem._replace(hub=Hub(0.0, 0.0, 0.0, 0.0, 1.0, 0.0))
    edge = curve.nodes[1, 2] - curve.nodes[0, 2]
    step = np.zeros(4 * len(curve.nodes))
    step[4 * 5 + 3] = 0.2
    energy, _, _, _ = assembled(curve, problem, step=step)
    assert energy == pytest.approx(2.0 * 0.5 * TORSION * 0.2**2 / edge)
    step[:] = 0.0
    step[-2] = 0.05
    energy, _, _, _ = assembled(curve, problem, step=step)
    assert energy == pytest.approx(0.5 * AXIAL * 0.05**2 / edge)


def test_a_rod_folded_on_itself_is_impossible():
    curve, problem = straight_rod(4)
    folded, nearly = curve.nodes.copy(), curve.nodes.copy()
    folded[-1] = folded[-3]
    nearly[-1] = nearly[-2] + np.array([0.0, 15.0, -3.0])
    assert assembled(curve._replace(nodes=folded), problem)[0] >= IMPOSSIBLE
    assert assembled(curve._replace(nodes=nearly), problem)[0] < IMPOSSIBLE


@pytest.mark.parametrize("slip", [1e-6, 0.01, 0.0299, 0.0301, 0.5])
def test_slip_law_is_the_integral_of_its_force(slip):
    value, secant, slope = slip_law(slip, 0.03)
    above, below = slip_law(slip + 1e-7, 0.03), slip_law(slip - 1e-7, 0.03)
    assert (above[0] - below[0]) / 2e-7 == pytest.approx(secant * slip, abs=1e-6)
    assert (above[1] * (slip + 1e-7) - below[1] * (slip - 1e-7)) / 2e-7 == pytest.approx(slope, abs=1e-3)
    assert secant * slip <= 1.0 and value <= slip


def test_slip_law_gives_the_whole_friction_when_sliding():
    _, secant, slope = slip_law(2.0, 0.03)
    assert secant * 2.0 == pytest.approx(1.0)
    assert slope == 0.0
