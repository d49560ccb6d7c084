"""One cantilever at rest: own Newton solver beside PyElastica's damped motion, in one run."""

import pytest
from pyelastica_bench import LOAD, damped_tip
from rods import BENDING, EXACT, LENGTH, straight_rod

from trainer.physics.rod_solver import find_equilibrium


def own_tip():
    curve, problem = straight_rod(20)
    problem.loads[-1] = (0.0, LOAD * BENDING / LENGTH**2, 0.0)
    return find_equilibrium(curve, problem, limits=EXACT).curve.nodes[-1, 1:]


@pytest.mark.benchmark(group="cantilever of 20 elements")
def test_own_cantilever(benchmark):
    assert benchmark(own_tip)[0] / LENGTH == pytest.approx(0.4935, abs=5e-4)


@pytest.mark.slow
@pytest.mark.benchmark(group="cantilever of 20 elements")
def test_pyelastica_cantilever(benchmark):
    """Its clamp holds half an element more: its tip bends less."""
    tip = benchmark.pedantic(damped_tip, rounds=1, warmup_rounds=1)
    assert tip[0] / LENGTH == pytest.approx(0.467, abs=2e-3)
