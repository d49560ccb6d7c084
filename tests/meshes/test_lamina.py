"""The solved laminae leave the gap that was asked for."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes.curve import level_poses
from meshes.dimensions import LEAST_GAP, all_dimensions, dimensions
from meshes.fields import evaluate
from meshes.findings import FacetHypertrophy
from meshes.lamina import (
    DiscView,
    NoRoomError,
    Window,
    along_nodes,
    distance_to_plate,
    height_for_gap,
    solve_laminae,
    solve_window,
)
from meshes.levels import COLUMN, INTERSPACES, LEVELS, level_below, split_interspace
from meshes.parameters import SpineParameters
from meshes.primitives import NODES
from meshes.rows import lamina_row, stack
from meshes.sacrum import sacrum_edges
from meshes.tables import loader
from meshes.units import degrees

REST = level_poses(SpineParameters())
SCALE = st.floats(0.5, 1.5)
# The first example pays for compiling.
unhurried = settings(deadline=None, max_examples=15)


def solved(**changes):
    numbers = all_dimensions(SpineParameters(**changes))
    return numbers, solve_laminae(numbers, REST, sacrum=sacrum_edges())[0]


def in_patient(level, edge):
    """Return an edge (y, z) of a bone in the midsagittal plane of the patient."""
    return REST[level].apply([0.0, *edge])[1:]


def plate_distance(point, edges, level):
    """Return the distance to the rounded midline section of a lamina, from the field of its row."""
    row = lamina_row(edges, half_width=300.0, flare_down=0.0, flare_up=0.0, side_blend=0.0, blend=0.0)
    local = REST[level].inverse().apply([0.0, *point])
    return evaluate(stack([row]), local[None])[0] / row[22]


@unhurried
@given(window_scale=SCALE)
def test_solved_gap_at_the_midline_equals_the_asked_gap(window_scale):
    """Measured in the patient's frame with the field of the lamina below."""
    numbers, edges = solved(window_scale=window_scale)
    for upper, lower in map(split_interspace, INTERSPACES):
        rim = in_patient(upper, edges[upper].bottom(0.0))
        gap = plate_distance(rim, edges[lower], lower) - edges[upper].bottom_radius
        assert gap == pytest.approx(numbers[upper]["gap_at_midline"], abs=1e-4)


@unhurried
@given(window_scale=SCALE)
def test_window_leaves_both_gaps(window_scale):
    numbers, edges = solved(window_scale=window_scale)
    for level in LEVELS:
        below = edges[level_below(level)]
        view = DiscView.between(REST[level], REST[level_below(level)])
        radius, radii = (
            edges[level].bottom_radius,
            (below.top_radius, below.bottom_radius, below.middle_radius),
        )
        window = solve_window(numbers[level].size, view, below=below, radius=radius)
        for x, place in ((0.0, "midline"), (6.0, "six")):
            top, bottom = (view.from_lower(np.array(edge)) for edge in (below.top(x), below.bottom(x)))
            point = top + np.array([window.step(x), window.clearance(x) + radius + below.top_radius])
            gap = distance_to_plate(point, top, bottom, radii=radii) - radius
            assert gap == pytest.approx(numbers[level][f"gap_at_{place}"], abs=1e-9)


def test_edge_lies_its_step_behind_the_edge_below():
    numbers, edges = solved()
    for upper, lower in pairwise(COLUMN):
        axis = REST[upper].rotation[:, 2] + REST[lower].rotation[:, 2]
        behind = np.cross(axis / np.linalg.norm(axis), [1.0, 0.0, 0.0])[1:]
        step = in_patient(upper, edges[upper].bottom(0.0)) - in_patient(lower, edges[lower].top(0.0))
        assert step @ behind == pytest.approx(numbers[upper]["step_at_midline"], abs=1e-9)


def test_gaps_widen_with_the_window_but_never_close():
    for level in LEVELS:
        narrow, rest, wide = (
            dimensions(level, SpineParameters(window_scale=scale)) for scale in (0.5, 1.0, 1.5)
        )
        for name in ("gap_at_midline", "gap_at_six"):
            assert LEAST_GAP <= narrow[name] < rest[name] < wide[name]
            assert wide[name] == pytest.approx(1.5 * rest[name])
        assert narrow["window_half_width"] == pytest.approx(0.75 * rest["window_half_width"])


def test_laminae_run_down_and_back():
    _, edges = solved()
    for level in LEVELS:
        assert 12.0 < edges[level].height(6.0) < 32.0
        assert 5.0 < degrees(edges[level].slope(6.0)) < 45.0


def test_edges_are_even_and_answer_in_the_shape_asked():
    _, edges = solved()
    edge = edges["L2"]
    x = np.array([[-7.0, 0.0], [7.0, 4.0]])
    for curve in (edge.top, edge.bottom):
        y, z = curve(x)
        assert y.shape == z.shape == x.shape
        assert (y[0, 0], z[0, 0]) == (y[1, 0], z[1, 0]) == curve(7.0)
    assert along_nodes(edge.top_y, NODES[1]) == edge.top_y[1]
    np.testing.assert_allclose(edge.between(3.0, 0.0), edge.top(3.0))
    np.testing.assert_allclose(edge.between(3.0, 1.0), edge.bottom(3.0))


def test_sections_without_slope_measure_as_drawn():
    edges = sacrum_edges()
    assert edges.height(0.0) == pytest.approx(np.hypot(42.0 - 36.6, -13.1 + 24.0) + 5.2)
    assert edges.slope(0.0) == pytest.approx(np.arctan2(42.0 - 36.6, -13.1 + 24.0))


@given(y=st.floats(-20.0, 20.0), z=st.floats(-40.0, 20.0))
def test_distance_to_an_even_plate_is_that_of_a_capsule(y, z):
    top, bottom = np.array([0.0, 0.0]), np.array([5.0, -18.0])
    share = np.clip((np.array([y, z]) - top) @ (bottom - top) / 349.0, 0.0, 1.0)
    expected = np.linalg.norm(np.array([y, z]) - share * bottom) - 2.5
    assert distance_to_plate((y, z), top, bottom, radii=(2.5, 2.5, 2.5)) == pytest.approx(expected)


def test_plate_swells_to_its_middle_radius():
    top, bottom = (0.0, 0.0), (0.0, -20.0)
    for z, radius in ((0.0, 1.0), (-10.0, 3.0), (-20.0, 2.0)):
        assert distance_to_plate((9.0, z), top, bottom, radii=(1.0, 2.0, 3.0)) == pytest.approx(9.0 - radius)


def test_gap_that_the_step_keeps_out_of_reach_is_refused():
    upright = {"top": np.array([0.0, 0.0]), "bottom": np.array([0.0, -20.0]), "radii": (2.0, 2.0, 2.0)}
    with pytest.raises(NoRoomError, match="gap must be reachable, got 5 mm at a step of 12 mm: widen"):
        height_for_gap(**upright, radius=2.0, step=12.0, gap=5.0)
    # One millimetre nearer there is one place: beside the rim, where both radii and the gap make 9 mm.
    height = height_for_gap(**upright, radius=2.0, step=8.0, gap=5.0)
    assert height == pytest.approx(np.sqrt(9.0**2 - 8.0**2))


def test_clearance_falls_to_zero_at_the_half_width():
    window = Window(4.0, 6.0, 9.0, 8.0, 10.0)
    assert (window.clearance(0.0), window.clearance(6.0)) == (4.0, 6.0)
    assert window.clearance(3.0) == pytest.approx(4.0 + 2.0 / 4.0)
    assert window.clearance(10.0) == pytest.approx(0.0)
    assert (window.step(0.0), window.step(6.0)) == (9.0, 8.0)
    # Continuous at 6 mm.
    assert window.clearance(6.0 + 1e-9) == pytest.approx(6.0)
    assert window.step(6.0 + 1e-9) == pytest.approx(8.0)


def test_longer_steeper_spines_with_overlap():
    for level, lower in (("T8", 7.0), ("L2", 1.6)):
        rest, more = (dimensions(level, SpineParameters(spinous_overlap=share)) for share in (0.0, 1.0))
        assert more["spinous_tip_drop"] == pytest.approx(rest["spinous_tip_drop"] + lower)
    thoracic = [dimensions("T8", SpineParameters(spinous_overlap=share)) for share in (0.0, 1.0)]
    assert degrees(thoracic[1]["spinous_angle"] - thoracic[0]["spinous_angle"]) == pytest.approx(6.0)


def test_calibration_corrects_the_size_but_not_the_landmarks():
    numbers = dimensions("L3", SpineParameters())
    correction = loader.number("calibration", "L3.canal_depth")
    assert correction != 0.0
    assert numbers.canal_depth == loader.number("vertebrae", "L3.canal_depth")
    assert numbers["canal_depth"] == pytest.approx(numbers.canal_depth + correction)


def test_thick_facets_bring_corners_down_and_leave_the_sound_laminae():
    numbers = all_dimensions(SpineParameters(findings=(FacetHypertrophy("T12-L1", 1.0),)))
    edges, sound = solve_laminae(numbers, REST, sacrum=sacrum_edges())
    _, rest = solved()
    for level in COLUMN:
        np.testing.assert_array_equal(sound[level].bottom_z, rest[level].bottom_z)
        same = np.array_equal(edges[level].bottom_z, rest[level].bottom_z)
        assert same == (level != "T12")
    assert edges["T12"].bottom_z[2] < rest["T12"].bottom_z[2] - 1.0
