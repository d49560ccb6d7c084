"""Unlike sides: what grows, what stays, and that endplates do not tilt."""

import numpy as np
import pytest

from meshes.asymmetry import LONGER, SLANT, THICKER, with_unlike_sides
from meshes.fields import evaluate, evaluate_whole
from meshes.levels import COLUMN, LEVELS
from meshes.parameters import SpineParameters
from meshes.primitives import BODY, CANAL
from meshes.rows import capsule_pair, stack
from meshes.vertebra import neighbour_clearance, shape_column

EVEN = shape_column(SpineParameters())
UNLIKE = shape_column(SpineParameters(asymmetry=1.0))
OTHER = shape_column(SpineParameters(asymmetry=-1.0))


def ends(row):
    return row[3:6], row[3:6] + row[6] * row[7:10]


def test_left_grows_and_right_shrinks_beyond_the_inner_place():
    pair = stack(capsule_pair((5.0, 0.0, 0.0), (20.0, 4.0, 2.0), sizes=(2.0, 3.0)))
    left, right = with_unlike_sides(pair, amount=0.5, inner=10.0)
    np.testing.assert_allclose(ends(left)[0], [5.0, 0.0, 0.0])
    np.testing.assert_allclose(ends(left)[1], [20.0 + 10.0 * LONGER * 0.5, 4.0, 2.0])
    np.testing.assert_allclose(ends(right)[1], [-20.0 + 10.0 * LONGER * 0.5, 4.0, 2.0])
    np.testing.assert_allclose(left[16:20], pair[0, 16:20] * (1.0 + 0.5 * THICKER))
    np.testing.assert_allclose(right[16:20], pair[1, 16:20] * (1.0 - 0.5 * THICKER))
    for row in (left, right):
        axes = row[7:16].reshape(3, 3)
        np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)


@pytest.mark.parametrize("level", COLUMN)
def test_body_and_canal_stay(level):
    kept = np.isin(EVEN[level].rows[:, 0], (BODY, CANAL))
    assert kept.any()
    np.testing.assert_array_equal(EVEN[level].rows[kept], UNLIKE[level].rows[kept])
    assert EVEN[level].symmetric
    assert not UNLIKE[level].symmetric


@pytest.mark.parametrize("level", LEVELS)
def test_the_sign_says_which_side_is_larger(level):
    """The other sign is the mirror image, up to the order of the blends; the tip leans to the small side."""
    points = np.random.default_rng(5).uniform([-45, -20, -40], [45, 75, 30], (4000, 3))
    here, there = (
        evaluate(shape.rows, points * [side, 1.0, 1.0])
        for shape, side in ((UNLIKE[level], 1.0), (OTHER[level], -1.0))
    )
    near = np.abs(here) < 1.0
    np.testing.assert_allclose(here[near], there[near], atol=0.2)
    assert UNLIKE[level].spinous_lean == -3.0 == -OTHER[level].spinous_lean
    tip = [[UNLIKE[level].spinous_lean, *(UNLIKE[level].spinous_tip - [2.5, -1.5])]]
    assert evaluate(UNLIKE[level].rows, tip)[0] < 0.0 < evaluate(OTHER[level].rows, tip)[0]


@pytest.mark.parametrize("level", ["T7", "T10", "T12", "L1", "L3"])
def test_a_lamina_comes_lower_on_the_larger_side(level):
    """Lowest point of the plate 6 mm beside the midline, on the field of the built rows; 1.44 mm drawn."""
    edges = UNLIKE[level].lamina
    assert edges.bottom(-6.0)[1] - edges.bottom(6.0)[1] == pytest.approx(12.0 * SLANT)
    lowest = []
    for x in (6.0, -6.0):
        y, z = edges.bottom(x)
        places = np.column_stack([np.full(160, x), np.full(160, y), z + np.arange(-8.0, 8.0, 0.1)])
        lowest.append(places[np.argmax(evaluate(UNLIKE[level].rows, places) < 0.0), 2])
    # Of the roof alone: beside the spine and over the joints the blends take a part of it.
    assert lowest[1] - lowest[0] == pytest.approx(12.0 * SLANT, abs=0.5)


@pytest.mark.parametrize("level", ["T8", "L2"])
def test_endplates_do_not_tilt(level):
    """Plates of the whole field, left against right of the middle."""
    clearance = neighbour_clearance(UNLIKE, level)
    field, origin = evaluate_whole(UNLIKE[level].rows, pitch=1.2, clearance=clearance)
    middle, wall = field.shape[2] // 2, int((0.0 - origin[1]) / 1.2)
    body = field[:, wall - 6 : wall + 1, middle - 8 : middle + 9]
    near = np.abs(body) < 1.5
    np.testing.assert_allclose(body[near], body[:, :, ::-1][near], atol=1e-5)
    assert body.min() < 0.0 < body.max()
