"""The banded factor against scipy, and what the solver says when it does not arrive."""

import numpy as np
import pytest
from rods import BENDING, EXACT, LENGTH, assembled, dense, straight_rod
from scipy.linalg import cholesky_banded, solveh_banded
from scipy.optimize import brentq
from scipy.special import ellipk

from trainer.physics.rod_model import BANDWIDTH
from trainer.physics.rod_solver import (
    SolverLimits,
    cholesky,
    clamped,
    find_equilibrium,
    hold,
    newton_step,
    substitute,
)


def banded_matrix(seed, size, *, shift=25.0):
    rng = np.random.default_rng(seed)
    band = np.zeros((size + BANDWIDTH, BANDWIDTH + 1))
    for k in range(BANDWIDTH + 1):
        band[: size - k, k] = rng.normal(size=size - k)
    band[:size, 0] += shift
    return band


@pytest.mark.parametrize("size", [11, 40, 133])
def test_factor_and_solution_equal_scipy(size):
    """scipy.linalg.cholesky_banded and solveh_banded, lower form."""
    band = banded_matrix(size, size)
    right = np.random.default_rng(1).normal(size=size)
    lower = band[:size].T.copy()
    factor, solution = band.copy(), right.copy()
    assert cholesky(factor, size)
    substitute(factor, solution)
    expected = cholesky_banded(lower, lower=True)
    assert factor[:size].transpose() == pytest.approx(expected, rel=1e-12, abs=1e-12)
    assert solution == pytest.approx(solveh_banded(lower, right, lower=True), rel=1e-10)


def test_an_indefinite_matrix_is_refused():
    assert not cholesky(banded_matrix(2, 30, shift=0.0), 30)
    assert cholesky(banded_matrix(2, 30), 30)


def test_a_step_is_damped_until_the_hessian_is_definite():
    """A column under 1.3 times its Euler load: the step still points downhill."""
    curve, problem = straight_rod(20)
    curve.nodes[1:, 2] *= 1.0 - 1.3 * np.pi**2 * BENDING / (4.0 * LENGTH**2) / problem.elastic.axial
    problem.loads[-1] = (1e-4, 0.0, -1.3 * np.pi**2 * BENDING / (4.0 * LENGTH**2))
    _, _, system, _ = assembled(curve, problem)
    held = clamped(len(curve.nodes))
    hold(system, held)
    step = np.zeros(len(held))
    damping, indefinite = newton_step(system, held, 0.0, np.empty_like(system.band), step)
    assert damping > 0.0 and indefinite > 0
    assert system.gradient[~held] @ step[~held] < 0.0


def test_held_unknowns_do_not_move():
    curve, problem = straight_rod(8)
    _, _, system, _ = assembled(curve, problem)
    held = clamped(len(curve.nodes))
    hold(system, held)
    matrix = dense(system.band)
    assert np.array_equal(matrix[held][:, ~held], np.zeros((held.sum(), (~held).sum())))
    assert np.array_equal(matrix[np.ix_(held, held)], np.eye(held.sum()))


def loaded(load):
    curve, problem = straight_rod(30)
    problem.loads[-1] = (0.0, load * BENDING / LENGTH**2, 0.0)
    return curve, problem


def test_equilibrium_leaves_no_force_and_the_start_alone():
    curve, problem = loaded(5.0)
    before = [array.copy() for array in curve]
    found = find_equilibrium(curve, problem, limits=EXACT)
    assert found.converged and found.residual < 1e-10
    assert all(np.array_equal(old, new) for old, new in zip(before, curve))


def test_running_out_of_iterations_is_said():
    curve, problem = loaded(5.0)
    one = find_equilibrium(curve, problem, limits=SolverLimits(iterations=1))
    many = find_equilibrium(curve, problem, limits=SolverLimits(iterations=100))
    assert not one.converged and one.iterations == 1 and one.residual > 2e-4
    assert many.converged and many.residual < 2e-4


def test_a_buckled_column_is_found_from_a_straight_start():
    """Post-buckling at 1.3 Euler loads: sideways y / L = 2 k / K(k) with (2 K(k) / pi)^2 = 1.3 (elastica)."""
    m = brentq(lambda m: (2.0 * ellipk(m) / np.pi) ** 2 - 1.3, 1e-6, 0.95)
    exact = 2.0 * np.sqrt(m) / ellipk(m)
    curve, problem = straight_rod(80)
    problem.loads[-1] = (1e-6, 0.0, -1.3 * np.pi**2 * BENDING / (4.0 * LENGTH**2))
    found = find_equilibrium(curve, problem, limits=EXACT)
    assert found.converged and found.indefinite > 0
    assert np.hypot(*found.curve.nodes[-1, :2]) / LENGTH == pytest.approx(exact, abs=3e-4)


@pytest.mark.parametrize("name", ["iterations", "tolerance", "largest_step", "largest_turn"])
def test_limits_must_be_positive(name):
    with pytest.raises(ValueError, match=f"{name} must be positive, got 0"):
        SolverLimits(**{name: 0})
    assert getattr(SolverLimits(**{name: 1}), name) == 1
