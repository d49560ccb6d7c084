"""Facets for the ribs: where they are, that they are shallow, and that lumbar vertebrae have none."""

import numpy as np
import pytest

from meshes.arch import pedicle_of
from meshes.costal import costal_rows
from meshes.dimensions import dimensions
from meshes.fields import evaluate
from meshes.levels import LEVELS
from meshes.parameters import SpineParameters
from meshes.primitives import CUT
from meshes.rows import hollow_row, stack
from meshes.vertebra import shape_column

PARAMETERS = SpineParameters()
SHAPES = shape_column(PARAMETERS)


def facets(level):
    numbers = dimensions(level, PARAMETERS)
    return costal_rows(numbers, pedicle_of(numbers))


@pytest.mark.parametrize(
    "level, pairs",
    [("T6", 3), ("T9", 3), ("T10", 2), ("T11", 1), ("T12", 1), ("L1", 0), ("L5", 0)],
)
def test_each_level_has_its_facets(level, pairs):
    """T6-T9 two half facets on the body and one on the transverse process, T10 one and one, T11 and T12 one
    on the pedicle alone (common anatomy)."""
    rows = facets(level)
    assert len(rows) == 2 * pairs
    for left, right in zip(rows[::2], rows[1::2]):
        np.testing.assert_allclose(left[3:6] * [-1, 1, 1], right[3:6])
        assert left[1] == right[1] == CUT


@pytest.mark.parametrize("level", LEVELS[:7])
def test_a_facet_takes_a_shallow_hollow_and_no_more(level):
    """Bone vanishes in every facet; at most 3.2 mm of it, where pedicle and body bulge together."""
    rows = facets(level)
    shape = SHAPES[level]
    bare = np.array([row for row in shape.rows if not any(np.array_equal(row, facet) for facet in rows)])
    assert len(shape.rows) - len(bare) == len(rows)
    points = np.random.default_rng(2).normal(size=(4000, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    for row in rows[::2]:
        ball = row[3:6] + points * (row[16] - 0.05)
        before = evaluate(stack(bare), ball)
        assert before.min() < -0.15, row[3:6]
        assert before.min() > -3.2


def test_a_hollow_is_sunk_below_the_point_of_the_surface():
    row = hollow_row((3.0, 2.0, 1.0), outward=(0.0, -2.0, 0.0), radius=6.0, depth=0.9)
    ball = row.copy()
    ball[1] = 0.0
    deepest, mouth = evaluate(stack([ball]), [[3.0, 2.9, 1.0], [3.0, 2.0, 1.0]])
    assert deepest == pytest.approx(0.0, abs=2e-3)
    assert mouth == pytest.approx(-0.9, abs=2e-3)
