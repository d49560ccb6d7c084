"""Speed of the lead, beside a reference in the same run: read ratios, not milliseconds.

Run with: pytest tests/benchmarks --benchmark-enable --benchmark-group-by=group
"""

import numpy as np
import pytest
from scipy.linalg import solveh_banded

from meshes.units import radians
from trainer.physics import lead_pair
from trainer.physics.lead import advance, insert_lead, rotate
from trainer.physics.mouth import mouth_from_placement
from trainer.physics.rod_model import BANDWIDTH
from trainer.physics.rod_solver import cholesky, substitute

NODES = 133


@pytest.fixture(scope="module")
def system():
    """Return a definite band as the solver has it, and a right side, of a lead of 133 nodes."""
    size = 4 * NODES
    rng = np.random.default_rng(0)
    band = np.zeros((size + BANDWIDTH, BANDWIDTH + 1))
    for k in range(BANDWIDTH + 1):
        band[: size - k, k] = rng.normal(size=size - k)
    band[:size, 0] += 30.0
    return band, rng.normal(size=size)


@pytest.fixture(scope="module")
def lead(anatomy):
    mouth = mouth_from_placement(
        anatomy.canal, interspace="L2-L3", offset=3.0, approach=radians(32.0), medial=radians(10.0)
    )
    return advance(insert_lead(anatomy.canal, mouth), 165.5)


def ours(band, right):
    factor, solution = band.copy(), right.copy()
    assert cholesky(factor, len(right))
    substitute(factor, solution)
    return solution


@pytest.mark.benchmark(group="factor and solve, 532 unknowns")
def test_own_banded_solver(benchmark, system):
    assert np.isfinite(benchmark(ours, *system)).all()


@pytest.mark.benchmark(group="factor and solve, 532 unknowns")
def test_scipy_banded_solver(benchmark, system):
    band, right = system
    lower = band[: len(right)].T.copy()
    solution = benchmark(solveh_banded, lower, right, lower=True, check_finite=False)
    assert solution == pytest.approx(ours(band, right), rel=1e-9)


@pytest.mark.benchmark(group="lead of 116 nodes")
def test_one_millimetre(benchmark, lead):
    assert benchmark(advance, lead, 1.0).fed == pytest.approx(lead.fed + 1.0)


@pytest.mark.benchmark(group="lead of 116 nodes")
def test_turn_of_five_degrees(benchmark, lead):
    assert benchmark(rotate, lead, radians(5.0)).hub == pytest.approx(radians(5.0))


@pytest.fixture(scope="module")
def pair(anatomy):
    """Return two leads side by side that touch here and there."""
    mouths = [
        mouth_from_placement(
            anatomy.canal, interspace="L2-L3", offset=offset, approach=radians(32.0), medial=radians(medial)
        )
        for offset, medial in ((2.0, 5.0), (-2.5, 12.0))
    ]
    first = advance(insert_lead(anatomy.canal, mouths[0]), 150.0)
    return lead_pair.advance(lead_pair.insert_second(first, mouths[1]), 1, 120.0)


@pytest.mark.benchmark(group="second lead of 84 nodes, 1 mm")
def test_one_millimetre_beside_another_lead(benchmark, pair):
    fed = pair.leads[1].fed
    assert benchmark(lead_pair.advance, pair, 1, 1.0).leads[1].fed == pytest.approx(fed + 1.0)


@pytest.mark.benchmark(group="second lead of 84 nodes, 1 mm")
def test_one_millimetre_alone(benchmark, pair):
    alone = insert_lead(pair.leads[1].setup.canal, pair.leads[1].mouth)
    alone = advance(alone, 120.0)
    assert benchmark(advance, alone, 1.0).fed == pytest.approx(alone.fed + 1.0)
