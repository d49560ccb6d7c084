"""Fields on a grid and as surfaces: spheres in closed form, and short lists of rows against all rows."""

from functools import cache

import numpy as np
import pytest
import trimesh

from meshes.fields import (
    ROUGHNESS,
    Clearance,
    contour,
    evaluate,
    evaluate_half,
    evaluate_whole,
    largest_part,
    unevenness,
)
from meshes.parameters import SpineParameters
from meshes.primitives import CUT, UNION
from meshes.rows import box_row, capsule_row, stack
from meshes.vertebra import neighbour_clearance, shape_column


def ball(radius, *, centre=(0.0, 0.0, 0.0), operation=UNION, blend=0.0):
    """Return a row that is a ball in all but a length of a thousandth of a millimetre."""
    end = np.array(centre) + np.array([0.0, 1e-3, 0.0])
    return capsule_row(centre, end, sizes=(radius, radius), operation=operation, blend=blend)


def sphere_field(radius, pitch):
    """Return the exact distance to a sphere at the origin, on a grid, and the grid's origin."""
    n = int(np.ceil((radius + 3.0) / pitch))
    z, y, x = np.mgrid[-n : n + 1, -n : n + 1, -n : n + 1] * pitch
    return np.sqrt(x * x + y * y + z * z).astype(np.float32) - radius, np.full(3, -n * pitch)


@cache
def shapes():
    return shape_column(SpineParameters())


def grid_points(field, origin, pitch):
    k, j, i = (axis.ravel() for axis in np.indices(field.shape))
    return origin + pitch * np.column_stack([i, j, k])


def test_rows_are_joined_in_their_order():
    points = np.random.default_rng(1).uniform(-12.0, 12.0, (500, 3))
    a = np.linalg.norm(points - np.array([3.0, 0.0, 0.0]), axis=1) - 5.0
    b = np.linalg.norm(points + np.array([3.0, 0.0, 0.0]), axis=1) - 5.0
    first, second = ball(5.0, centre=(3, 0, 0)), ball(5.0, centre=(-3, 0, 0))
    np.testing.assert_allclose(evaluate(stack([first, second]), points), np.minimum(a, b), atol=2e-3)
    hole = ball(5.0, centre=(-3, 0, 0), operation=CUT)
    np.testing.assert_allclose(evaluate(stack([first, hole]), points), np.maximum(a, -b), atol=2e-3)
    # A cut that comes before anything was added cuts nothing.
    np.testing.assert_allclose(evaluate(stack([hole, first]), points), a, atol=2e-3)


def test_blend_fills_the_notch_between_two_parts():
    rows = [ball(5.0, centre=(4, 0, 0)), ball(5.0, centre=(-4, 0, 0), blend=2.0)]
    at_notch = np.array([[0.0, 3.0, 0.0]])
    assert evaluate(stack(rows), at_notch)[0] == pytest.approx(-2.0 / 4.0, abs=1e-3)


def test_points_must_be_triples():
    rows = stack([ball(5.0)])
    for wrong in (np.zeros((3, 7)), np.zeros(3)):
        with pytest.raises(ValueError, match=r"points must have shape \(n, 3\), got .* on the last axis"):
            evaluate(rows, wrong)
    assert evaluate(rows, [[0.0, 0.0, 9.0]])[0] == pytest.approx(4.0, abs=1e-3)


def test_pitch_must_be_positive():
    for wrong in (0.0, -1.0):
        with pytest.raises(ValueError, match="pitch must be positive, got"):
            evaluate_half(stack([ball(5.0)]), pitch=wrong)
    field, origin = evaluate_half(stack([ball(5.0)]), pitch=3.0)
    assert field.min() < 0.0 < field.max()
    assert origin[0] == 0.0


@pytest.mark.parametrize("level", ["T7", "L3", "S1"])
def test_short_lists_of_rows_give_the_field_of_all_rows_near_the_surface(level):
    rows = shapes()[level].rows
    field, origin = evaluate_half(rows, pitch=1.6)
    points = grid_points(field, origin, 1.6)
    rough = np.array([ROUGHNESS * unevenness(*point) for point in points])
    expected = (evaluate(rows, points) + rough).reshape(field.shape)
    near = np.abs(expected) < 1.5
    assert near.sum() > 1000
    # Flat plates of the sacrum change faster than lists allow for: a hundredth of a millimetre beside it.
    atol = 1e-2 if level == "S1" else 2e-4
    np.testing.assert_allclose(field[near], expected[near], atol=atol)
    at_surface = np.abs(expected) < 0.3
    np.testing.assert_allclose(field[at_surface], expected[at_surface], atol=2e-3)
    np.testing.assert_array_equal(field < 0.0, expected < 0.0)


@pytest.mark.parametrize("level", ["T8", "L4"])
def test_carving_with_short_lists_is_carving_with_all_rows(level):
    clearance = neighbour_clearance(shapes(), level)
    rows = shapes()[level].rows
    field, origin = evaluate_half(rows, pitch=1.6, clearance=clearance)
    uncut, _ = evaluate_half(rows, pitch=1.6)
    seen = grid_points(field, origin, 1.6) @ clearance.rotation.T + clearance.translation
    above = evaluate(clearance.rows, seen).reshape(field.shape)
    lateral = np.abs(seen[:, 0]).reshape(field.shape) - clearance.inner_limit
    carve = np.maximum(np.minimum(clearance.gap - above, lateral), 0.5 - above)
    # Where the cut is larger by the blend of 0.6 mm, it alone decides; where smaller, it does nothing.
    shown = np.abs(uncut) < 1.5
    cut, kept = shown & (carve > uncut + 0.6), shown & (carve < uncut - 0.6)
    assert cut.sum() > 10
    np.testing.assert_allclose(field[cut], carve[cut], atol=1e-5)
    np.testing.assert_array_equal(field[kept], uncut[kept])


def test_whole_field_of_an_even_bone_is_the_half_field_and_its_mirror_image():
    """Left comes before right in the order of the rows, and blends depend a little on the order."""
    clearance = neighbour_clearance(shapes(), "L3")
    rows = shapes()["L3"].rows
    half, origin = evaluate_half(rows, pitch=1.6, clearance=clearance)
    whole, corner = evaluate_whole(rows, pitch=1.6, clearance=clearance)
    middle = half.shape[2] - 1
    assert whole.shape == (*half.shape[:2], 2 * middle + 1)
    np.testing.assert_allclose(corner, origin - [1.6 * middle, 0.0, 0.0])
    near = np.abs(half) < 1.0
    np.testing.assert_allclose(whole[:, :, middle:][near], half[near], atol=1e-4)
    np.testing.assert_allclose(whole[:, :, middle::-1][near], half[near], atol=0.15)


def test_whole_field_keeps_what_lies_on_one_side():
    rows = stack([ball(6.0), ball(3.0, centre=(-7.0, 0.0, 0.0))])
    field, origin = evaluate_whole(rows, pitch=1.0)
    solid = grid_points(field, origin, 1.0)[field.ravel() < 0.0]
    assert solid[:, 0].min() < -8.0
    assert 5.0 <= solid[:, 0].max() < 7.0
    with pytest.raises(ValueError, match="pitch must be positive, got 0"):
        evaluate_whole(rows, pitch=0.0)


def test_carving_keeps_the_gap_to_a_ball():
    plate = stack([box_row((0, 0, 0), (12, 12, 6), rounding=1.0, operation=UNION, blend=0.0)])
    above = stack([ball(5.0)])
    clearance = Clearance(above, np.eye(3), np.array([0.0, 0.0, -9.0]), 2.0, 3.0)
    field, origin = evaluate_half(plate, pitch=0.8, clearance=clearance)
    points = grid_points(field, origin, 0.8)
    inside = points[field.ravel() < 0.0] - [0.0, 0.0, 9.0]
    # Lateral of the inner limit the gap holds; medial of it only the film of 0.5 mm does.
    lateral = inside[:, 0] > 3.0 + 2.0
    assert 6.9 < np.linalg.norm(inside[lateral], axis=1).min() < 8.0
    assert 5.4 < np.linalg.norm(inside, axis=1).min() < 6.5


def test_unevenness_is_even_in_x_and_gentle():
    points = np.random.default_rng(3).uniform(-60.0, 60.0, (2000, 3))
    values = np.array([unevenness(x, y, z) for x, y, z in points])
    mirrored = np.array([unevenness(-x, y, z) for x, y, z in points])
    np.testing.assert_array_equal(values, mirrored)
    assert np.abs(values).max() <= 1.4


def test_contour_of_a_sphere_is_closed_turned_outward_and_second_order():
    volumes = []
    for pitch in (1.0, 0.5):
        field, origin = sphere_field(7.3, pitch)
        mesh = trimesh.Trimesh(*contour(field, origin, pitch), process=False)
        assert mesh.is_watertight
        volumes.append(mesh.volume)
        distance = np.linalg.norm(mesh.vertices, axis=1) - 7.3
        assert np.abs(distance).max() < 0.05 * pitch
    errors = np.array(volumes) - 4.0 / 3.0 * np.pi * 7.3**3
    order = np.log2(errors[0] / errors[1])
    assert 1.7 < order < 2.3


def test_contour_needs_a_surface():
    field, origin = sphere_field(5.0, 1.0)
    with pytest.raises(ValueError, match="field must change its sign on the grid, got no surface"):
        contour(field + 20.0, origin, 1.0)
    assert len(contour(field, origin, 1.0)[1]) > 100


def test_a_hole_without_a_way_out_is_filled_and_one_with_a_way_stays():
    """A solid cube with a closed hole, and with a shaft to the outside."""
    field = np.full((12, 12, 12), 1.0, np.float32)
    field[2:10, 2:10, 2:10] = -1.0
    field[5, 5, 5] = 0.0
    field[7, 7, 7:] = 1.0
    kept = largest_part(field.copy())
    assert kept[5, 5, 5] == 0.0
    filled = largest_part(field.copy(), cavities=True)
    assert filled[5, 5, 5] < 0.0 and filled[7, 7, 8] == 1.0
    other = np.ones(field.shape, bool)
    other[5, 5, 5] = False
    np.testing.assert_array_equal(filled[other], field[other])
