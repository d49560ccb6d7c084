"""Primitives against closed forms, scipy's Hermite splines and matplotlib's polygons."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.path import Path
from scipy.interpolate import CubicHermiteSpline

from meshes.fields import evaluate
from meshes.primitives import NODES, even_curve, primitive, smooth_maximum, smooth_minimum
from meshes.rows import (
    blade_row,
    body_row,
    box_of_rows,
    box_row,
    canal_row,
    capsule_pair,
    capsule_row,
    lamina_row,
    stack,
)

# The first example pays for compiling.
unhurried = settings(deadline=None)
VALUE = st.floats(-50.0, 50.0)
BLEND = st.floats(0.1, 10.0)
POINTS = np.random.default_rng(7).uniform(-30.0, 30.0, (2000, 3))


@unhurried
@given(a=VALUE, b=VALUE, blend=BLEND)
def test_smooth_minimum_lies_at_most_a_quarter_blend_below(a, b, blend):
    value = smooth_minimum(a, b, blend)
    assert value == smooth_minimum(b, a, blend)
    assert min(a, b) - blend / 4.0 - 1e-9 <= value <= min(a, b)
    if abs(a - b) >= blend:
        assert value == min(a, b)


@unhurried
@given(a=VALUE, blend=BLEND)
def test_smooth_minimum_of_equals_is_a_quarter_blend_below(a, blend):
    assert smooth_minimum(a, a, blend) == pytest.approx(a - blend / 4.0)


@unhurried
@given(a=VALUE, b=VALUE, step=st.floats(0.0, 20.0), blend=BLEND)
def test_smooth_minimum_never_falls_where_a_part_rises(a, b, step, blend):
    assert smooth_minimum(a + step, b, blend) >= smooth_minimum(a, b, blend) - 1e-9


@unhurried
@given(a=VALUE, b=VALUE, blend=st.floats(0.0, 10.0))
def test_smooth_maximum_is_the_mirrored_minimum(a, b, blend):
    assert smooth_maximum(a, b, blend) == pytest.approx(-smooth_minimum(-a, -b, blend))
    assert smooth_maximum(a, b, 0.0) == max(a, b)


@unhurried
@given(nodes=st.lists(VALUE, min_size=4, max_size=4).map(np.array), x=st.floats(0.0, 12.0))
def test_even_curve_is_a_cubic_hermite_spline(nodes, x):
    """Reference: scipy's spline through the same nodes and slopes."""
    slopes = [0.0, nodes[2] - nodes[0], nodes[3] - nodes[1], 2.0 * (nodes[3] - nodes[2])]
    reference = CubicHermiteSpline(NODES, nodes, np.array(slopes) / 8.0)
    assert even_curve(nodes, 0, x) == pytest.approx(float(reference(x)), abs=1e-9)


def test_even_curve_levels_off_beyond_the_last_node():
    nodes = np.array([0.0, 1.0, 4.0, 9.0])
    assert even_curve(nodes, 0, 12.0) == 9.0
    assert even_curve(nodes, 0, 14.0) == pytest.approx(9.0 + 0.1 * 5.0 * 2.0)


def segment_distance(points, start, end):
    """Return the distance of points (..., d) to a segment: closed form."""
    along = np.clip((points - start) @ (end - start) / np.sum((end - start) ** 2), 0.0, 1.0)
    return np.linalg.norm(points - start - along[..., None] * (end - start), axis=-1)


def test_sphere_is_exact():
    centre, radius = np.array([1.0, -2.0, 3.0]), 4.0
    sphere = capsule_row(centre, centre + np.array([0.0, 0.0, 1e-7]), sizes=(radius, radius), up=(0, 1, 0))
    expected = np.linalg.norm(POINTS - centre, axis=1) - radius
    np.testing.assert_allclose(evaluate(stack([sphere]), POINTS), expected, atol=1e-6)


def test_round_capsule_is_exact():
    start, end, radius = np.array([-5.0, 2.0, 1.0]), np.array([9.0, -4.0, 7.0]), 3.0
    capsule = capsule_row(start, end, sizes=(radius, radius))
    expected = segment_distance(POINTS, start, end) - radius
    np.testing.assert_allclose(evaluate(stack([capsule]), POINTS), expected, atol=1e-9)


@unhurried
@given(angle=st.floats(0.0, 6.28), power=st.sampled_from([2, 4]))
def test_elliptic_capsule_vanishes_on_its_superellipse(angle, power):
    sizes = np.array([5.0, 2.0])
    capsule = capsule_row((0, 0, 0), (0, 0, 20), sizes=sizes, up=(0, 1, 0), power=power)
    direction = np.array([np.cos(angle), np.sin(angle)])
    on_rim = direction / np.sum(np.abs(direction / sizes) ** power) ** (1.0 / power)
    assert primitive(capsule, on_rim[0], on_rim[1], 10.0) == pytest.approx(0.0, abs=1e-9)


def test_bow_pushes_the_middle_sideways():
    straight, bowed = (
        capsule_row((0, 0, 0), (0, 0, 20), sizes=(2, 2), up=(0, 1, 0), bow=bow) for bow in (0.0, 3.0)
    )
    assert primitive(bowed, 3.0, 0.0, 10.0) == primitive(straight, 0.0, 0.0, 10.0) == -2.0
    assert primitive(bowed, 0.0, 0.0, 0.0) == primitive(straight, 0.0, 0.0, 0.0)


def test_capsule_refuses_up_along_its_axis():
    for along in ((0, 0, 1), (0, 0, -3)):
        with pytest.raises(ValueError, match=r"up must not be parallel to the axis, got"):
            capsule_row((0, 0, 0), (0, 0, 5), sizes=(1, 1), up=along)
    row = capsule_row((0, 0, 0), (0, 0, 5), sizes=(1, 1), up=(0, 0.01, 1))
    np.testing.assert_allclose(row[13:16], [0.0, 1.0, 0.0], atol=1e-12)


def test_capsule_refuses_to_have_no_length():
    with pytest.raises(ValueError, match="must have a direction, got zero length"):
        capsule_row((1, 2, 3), (1, 2, 3), sizes=(1, 1))
    assert capsule_row((1, 2, 3), (1, 2.001, 3), sizes=(1, 1))[6] == pytest.approx(0.001)


def test_pair_is_even_in_x():
    shape = {"sizes": (2, 5), "end_sizes": (1, 3), "up": (0.2, 1, 0.3), "bow": 2.0}
    left, right = capsule_pair((4, 1, 2), (12, 3, -6), **shape)
    mirrored = POINTS * [-1.0, 1.0, 1.0]
    np.testing.assert_allclose(
        evaluate(stack([left]), POINTS), evaluate(stack([right]), mirrored), atol=1e-12
    )


def test_box_is_exact():
    centre, half, rounding = np.array([2.0, -3.0, 5.0]), np.array([8.0, 4.0, 6.0]), 1.5
    beyond = np.abs(POINTS - centre) - (half - rounding)
    outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
    expected = outside + np.minimum(beyond.max(axis=1), 0.0) - rounding
    box = box_row(centre, half, rounding=rounding, operation=0, blend=0.0)
    np.testing.assert_allclose(evaluate(stack([box]), POINTS), expected, atol=1e-12)


def test_wide_blade_is_its_polygon():
    """Reference for inside and outside: matplotlib's polygons; for the distance: segments in closed form."""
    corners = np.array([[0, 8], [12, 7], [25, 2], [26, -6], [10, -3], [0, -7]], float)
    blade = blade_row(corners, rounding=0.0, half_widths=(500,) * 3, thin_top=1.0, side_blend=1.0, blend=0.0)
    places = POINTS[:, 1:]
    edges = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    distance = np.min([segment_distance(places, *edge) for edge in edges], axis=0)
    expected = np.where(Path(corners).contains_points(places), -distance, distance)
    np.testing.assert_allclose(evaluate(stack([blade]), POINTS), expected, atol=1e-6)


def plain_edges():
    """Return straight edges of one radius: a lamina that is a plate with round rims."""
    four = np.ones(4)
    return SimpleNamespace(
        top_y=20.0 * four,
        top_z=4.0 * four,
        bottom_y=26.0 * four,
        bottom_z=-12.0 * four,
        top_radius=3.0,
        bottom_radius=3.0,
        middle_radius=3.0,
    )


def test_plain_lamina_is_a_capsule_in_every_sagittal_plane():
    edges = plain_edges()
    row = lamina_row(edges, half_width=500.0, flare_down=0.0, flare_up=0.0, side_blend=1.0, blend=0.0)
    expected = segment_distance(POINTS[:, 1:], np.array([20.0, 4.0]), np.array([26.0, -12.0])) - 3.0
    np.testing.assert_allclose(evaluate(stack([row]), POINTS), expected, atol=1e-5)


def test_lamina_ends_at_its_half_width_and_flares():
    row = lamina_row(plain_edges(), half_width=9.0, flare_down=2.0, flare_up=4.0, side_blend=0.0, blend=0.0)
    for z, half_width in ((-4.0, 9.0), (4.0, 13.0), (-12.0, 11.0)):
        y = 20.0 + 6.0 * (4.0 - z) / 16.0
        assert primitive(row, half_width, y, z) == pytest.approx(0.0, abs=1e-6)
        assert primitive(row, -half_width + 0.5, y, z) == pytest.approx(-0.5, abs=1e-6)


def test_canal_is_open_in_the_middle_and_closed_at_wall_front_and_ridge():
    row = canal_row(front=15.0, width=22.0, depth=18.0, half_angle=0.9, rounding=0.5)
    assert primitive(row, 0.0, 22.0, 0.0) < -6.0
    assert primitive(row, 0.0, 22.0, 300.0) == primitive(row, 0.0, 22.0, 0.0)
    assert primitive(row, 11.0, 21.5, 0.0) == pytest.approx(0.0, abs=1e-9)
    assert primitive(row, 0.0, 15.0, 0.0) == pytest.approx(0.0, abs=1e-9)
    assert primitive(row, 0.0, 33.0, 0.0) == pytest.approx(0.0, abs=1e-9)


def plain_body(**changes):
    shape = {"waist": 0.0, "dishes": (0, 0), "wall": 100.0, "hollow": 0.0, "rim": 0.0, "power": 2.0}
    return body_row(upper=(40, 30), lower=(40, 30), heights=(25, 25), **(shape | changes))


def test_body_without_ornament_is_a_cylinder_with_flat_ends():
    row = plain_body()
    for x, y, z in ((20.0, 1.2, 0.0), (0.0, 1.2 + 16.2, 0.0), (3.0, 2.0, 12.75), (-3.0, 2.0, -12.75)):
        assert primitive(row, x, y, z) == pytest.approx(0.0, abs=1e-9)


def test_body_is_cut_at_the_posterior_wall_and_wedged_by_its_heights():
    row = plain_body(wall=14.0)
    assert primitive(row, 0.0, 14.8, 3.0) > 0.0 > primitive(row, 0.0, 12.0, 3.0)
    wedged = body_row(
        upper=(40, 30),
        lower=(40, 30),
        heights=(28, 22),
        waist=0,
        dishes=(0, 0),
        wall=100,
        hollow=0,
        rim=0.0,
    )
    # Anterior is towards -y: the front is half a wedge taller on either side.
    assert primitive(wedged, 0.0, -10.0, 13.5) < 0.0 < primitive(wedged, 0.0, 10.0, 12.5)


def test_unknown_kind_is_nowhere():
    row = stack([box_row((0, 0, 0), (1, 1, 1))])[0]
    row[0] = 9
    assert primitive(row, 0.0, 0.0, 0.0) == 1e9


def test_box_of_rows_holds_what_adds_and_ignores_cuts():
    rows = stack(
        [
            capsule_row((0, 0, 0), (10, 0, 0), sizes=(2, 3)),
            box_row((0, 20, 0), (1, 2, 3), operation=0),
            box_row((0, 0, 500), (9, 9, 9)),
        ]
    )
    low, high = box_of_rows(rows, padding=1.0)
    np.testing.assert_allclose(low, [-4.0, -4.0, -4.0])
    np.testing.assert_allclose(high, [14.0, 23.0, 4.0])
