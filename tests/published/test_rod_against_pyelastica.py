"""The rod against PyElastica, a general-purpose Cosserat rod library, once its motion is damped out."""

import pytest
from pyelastica_bench import ELEMENTS, LOAD, damped_tip
from rods import BENDING, EXACT, LENGTH, straight_rod
from test_rod_published import elastica

from trainer.physics.rod_solver import find_equilibrium


@pytest.mark.slow
def test_cantilever_bends_as_in_pyelastica():
    """Its clamp holds the whole first element, so its beam is half an element shorter: compare with that.

    Both stand within 0.3 % of the exact elastica, and within 0.3 % of each other.
    """
    length = LENGTH * (1.0 - 0.5 / ELEMENTS)
    exact = elastica(LOAD * (length / LENGTH) ** 2)[0] * length
    theirs = damped_tip()[0]
    curve, problem = straight_rod(40)
    scale = length / LENGTH
    curve, rest = curve._replace(nodes=scale * curve.nodes), scale * problem.elastic.rest_lengths
    problem.loads[-1] = (0.0, LOAD * BENDING / LENGTH**2, 0.0)
    problem = problem._replace(elastic=problem.elastic._replace(rest_lengths=rest))
    ours = find_equilibrium(curve, problem, limits=EXACT).curve.nodes[-1, 1]
    assert ours == pytest.approx(exact, rel=3e-4)
    assert theirs == pytest.approx(exact, rel=3e-3)
    assert ours == pytest.approx(theirs, rel=3e-3)
