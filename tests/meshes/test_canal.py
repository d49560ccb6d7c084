"""The canal chart: its geometry on the ordinary adult, its coordinates, its gradients, its parameters."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes.bones import build_bones
from meshes.canal import BELOW_FLAVUM
from meshes.canal_build import build_chart
from meshes.canal_kernels import chart_contact
from meshes.curve import level_poses
from meshes.levels import COLUMN, INTERSPACES
from meshes.parameters import LIMITS, SHAPE, SpineParameters
from meshes.sac_and_cord import sac_ellipse
from meshes.units import radians


@pytest.fixture(scope="module")
def canal(anatomy):
    return anatomy.canal


@pytest.fixture(scope="module")
def inner(canal):
    """Return the rows that may be read: away from both ends."""
    first, last = canal.valid_span
    return slice(int(first - canal.u[0]), int(last - canal.u[0]) + 1)


def inside_span(canal, count, seed=0):
    """Return u, theta, r (count,) inside the valid part of the chart."""
    rng = np.random.default_rng(seed)
    first, last = canal.valid_span
    u = rng.uniform(first + 10.0, last - 10.0, count)
    return u, rng.uniform(-3.1, 3.1, count), rng.uniform(0.5, 8.0, count)


def test_chart_covers_the_sacrum_to_t6(canal):
    assert canal.levels == COLUMN[::-1]
    assert [level for level, _, _ in canal.level_spans] == list(COLUMN[::-1])
    assert tuple(canal.interspaces) == INTERSPACES[::-1]
    # The lowest flavum springs from the sacrum's lamina inside what may be read.
    assert canal.interspaces["L5-S1"].flavum_caudal > canal.valid_span[0] + BELOW_FLAVUM


def test_stations_rise_from_bone_to_bone(canal):
    edges = [edge for _, bottom, top in canal.level_spans for edge in (bottom, top)]
    assert np.all(np.diff(edges) > 2.0)
    assert canal.u[0] < edges[0]
    assert edges[-1] < canal.u[-1]


def test_interspaces_lie_between_their_bodies_in_order(canal):
    tops = {level: top for level, _, top in canal.level_spans}
    bottoms = {level: bottom for level, bottom, _ in canal.level_spans}
    for mark in canal.interspaces.values():
        assert mark.flavum_caudal < mark.lamina_caudal_edge < mark.flavum_cranial, mark.name
        assert mark.disc_caudal < tops[mark.lower] < bottoms[mark.upper] < mark.disc_cranial, mark.name
        assert mark.gap > 0.0
        assert canal.interspace(mark.name) is mark


def test_frame_is_orthonormal_and_points_left_and_back(canal):
    centre, tangent, left, dorsal = canal.frame_at(np.linspace(*canal.valid_span, 200))
    for vectors in (tangent, left, dorsal):
        assert np.linalg.norm(vectors, axis=1) == pytest.approx(np.ones(200), abs=1e-4)
    assert np.cross(tangent, left) == pytest.approx(dorsal, abs=1e-4)
    assert np.all(tangent[:, 2] > 0.5)
    assert np.all(dorsal[:, 1] > 0.5)
    assert left[:, 0] == pytest.approx(np.ones(200), abs=1e-6)
    assert np.linalg.norm(np.diff(centre, axis=0), axis=1) == pytest.approx(
        np.full(199, np.ptp(canal.valid_span) / 199), rel=2e-3
    )


def test_dura_lies_in_the_wall_and_the_cord_in_the_dura(canal, inner):
    assert (canal.wall - canal.dura)[inner].min() > 0.2
    assert (canal.dura - canal.cord)[inner].min() > 0.3


def test_wall_lies_in_front_of_all_bone(canal, inner):
    beyond = (canal.wall - canal.bone_wall)[inner]
    # The blur that makes the table smooth rounds rims.
    assert np.percentile(beyond, 95) < 0.15
    assert beyond.max() < 0.7


def test_wall_does_not_tell_left_from_right(canal, inner):
    for table in (canal.wall, canal.dura, canal.cord, canal.roof):
        assert np.abs(table - np.roll(table[:, ::-1], 1, axis=1))[inner].max() < 0.02


def test_roof_is_a_saw_tooth(canal):
    """Nearest under the cranial edge of a lamina, deepest at the flavum's hold on the lamina above.

    Shape: Hogan, Anesthesiology 1991;75:767; Boezaart et al., posterior lumbar epidural space in 3D MRI.
    """
    depth = canal.roof[:, 0] - canal.sac_depth
    for mark in list(canal.interspaces.values())[1:]:
        edge = depth[int(mark.flavum_caudal) - 2 : int(mark.flavum_caudal) + 3].min()
        top = 2.0 * mark.flavum_cranial - mark.lamina_caudal_edge
        deepest = depth[int(mark.flavum_caudal) : int(top)].max()
        gap = depth[int(mark.middle)]
        assert edge < gap + 0.05, mark.name
        assert gap < deepest + 0.05, mark.name
        assert deepest - edge > 0.5, mark.name


def test_foramina_are_open_on_both_sides(canal):
    open_by = canal.wall - canal.closed_wall
    for mark in list(canal.interspaces.values())[1:-1]:
        middle = int(0.5 * (mark.disc_caudal + mark.disc_cranial))
        rows = slice(middle - 6, middle + 7)
        for first, last in ((75, 125), (235, 285)):
            sector = (canal.theta >= radians(first)) & (canal.theta <= radians(last))
            assert open_by[rows][:, sector].max() > 3.0, mark.name


def test_chart_and_world_are_inverse(canal):
    u, theta, r = inside_span(canal, 3000)
    again = canal.to_chart(canal.to_world(u, theta, r))
    assert np.abs(again[0] - u).max() < 1e-4
    assert np.abs(again[2] - r).max() < 1e-4
    assert np.abs(r * (again[1] - theta)).max() < 1e-4


def test_shapes_are_kept(canal):
    point = canal.to_world(150.0, 0.2, 3.0)
    assert point.shape == (3,)
    assert [np.ndim(value) for value in canal.to_chart(point)] == [0, 0, 0]
    grid = canal.to_world(np.array([[120.0], [140.0]]), np.array([0.0, 0.5, 1.0]), 2.0)
    assert grid.shape == (2, 3, 3)
    assert canal.to_chart(grid)[1].shape == (2, 3)
    assert canal.radii(150.0, np.zeros(4))[3].shape == (4,)
    with pytest.raises(ValueError, match=r"points must have shape \(\.\.\., 3\)"):
        canal.to_chart(np.zeros((4, 2)))


def test_angle_is_zero_behind_and_grows_to_the_left(canal):
    centre, _, left, dorsal = canal.frame_at(150.0)
    assert canal.to_chart(centre + 3.0 * dorsal)[1] == pytest.approx(0.0, abs=1e-3)
    assert canal.to_chart(centre + 3.0 * left)[1] == pytest.approx(radians(90.0), abs=1e-3)
    assert canal.to_chart(centre - 3.0 * left)[1] == pytest.approx(radians(-90.0), abs=1e-3)


def test_radii_read_the_tables_at_their_nodes(canal, inner):
    rows = np.arange(inner.start, inner.stop, 7)
    u, theta = canal.u[rows, None], canal.theta[None]
    for read, table in zip(canal.radii(u, theta), (canal.cord, canal.closed_wall, canal.dura, canal.wall)):
        assert read == pytest.approx(table[rows], abs=1e-9)
    assert canal.radii(u, theta + radians(360.0))[3] == pytest.approx(canal.wall[rows], abs=1e-9)


def test_contact_is_zero_on_the_surfaces_and_signed_beside_them(canal):
    u, theta, _ = inside_span(canal, 500)
    _, _, dura, wall = canal.radii(u, theta)
    on_wall, on_dura = (canal.contacts(canal.to_world(u, theta, r)) for r in (wall, dura))
    assert np.abs(on_wall[:, 0]).max() < 1e-5
    assert np.abs(on_dura[:, 4]).max() < 1e-5
    between = canal.contacts(canal.to_world(u, theta, 0.5 * (dura + wall)))
    assert np.all(between[:, [0, 4]] > 0.0)


def test_gradients_agree_with_differences(canal):
    """Central differences of step 1e-4 mm are good to about 1e-6 on C2 tables."""
    u, theta, r = inside_span(canal, 400, seed=4)
    points = canal.to_world(u, theta, r)
    exact = canal.contacts(points)
    for axis in range(3):
        step = 1e-4 * np.eye(3)[axis]
        change = (canal.contacts(points + step) - canal.contacts(points - step)) / 2e-4
        assert exact[:, 1 + axis] == pytest.approx(change[:, 0], rel=1e-5, abs=2e-5)
        assert exact[:, 5 + axis] == pytest.approx(change[:, 4], rel=1e-5, abs=2e-5)


def test_contact_is_a_distance_to_first_order(canal):
    """Beside the dorsal wall the gradient's length is one, so room is measured in millimetres."""
    u, theta, _ = inside_span(canal, 800, seed=6)
    theta = 0.25 * theta
    wall = canal.radii(u, theta)[3]
    lengths = np.linalg.norm(canal.contacts(canal.to_world(u, theta, wall - 0.3))[:, 1:4], axis=1)
    assert np.percentile(np.abs(lengths - 1.0), 90) < 0.12


def test_a_start_value_changes_nothing(canal):
    u, theta, r = inside_span(canal, 50, seed=8)
    points = canal.to_world(u, theta, r)
    out, work = np.empty(11), np.empty(52)
    tables = canal.frame_coefficients, canal.surface_coefficients, canal.height_table, canal.params
    for point, station, without in zip(points, u, canal.contacts(points)):
        chart_contact(*tables, *point, station - 2.0, out, work)
        assert out == pytest.approx(without, abs=1e-7)


def test_station_of_a_level_is_in_its_span_and_follows_height(canal):
    for level, bottom, top in canal.level_spans:
        assert bottom < canal.station(level) < top
        assert canal.station(level, 4.0) - canal.station(level, -4.0) == pytest.approx(8.0, abs=1.0)


def test_what_is_not_charted_is_refused(canal):
    with pytest.raises(ValueError, match="level must be one of S1, .*, got 'S2': name a level of the chart"):
        canal.station("S2")
    with pytest.raises(ValueError, match="interspace must be one of T6-T7, .*, L5-S1, got 'S1-S2'"):
        canal.interspace("S1-S2")
    assert canal.interspace("T12-L1").upper == "T12"


def test_thicker_flavum_moves_the_roof_by_the_extra_thickness(anatomy, canal):
    thick = anatomy.with_pose(flavum_scale=1.5).canal
    assert thick.flavum_thickness == pytest.approx(1.5 * canal.flavum_thickness)
    for mark in list(canal.interspaces.values())[1:8]:
        row = int(mark.middle)
        moved = canal.roof[row, 0] - thick.roof[row, 0]
        assert moved == pytest.approx(0.5 * canal.flavum_thickness[row], abs=0.1), mark.name
    assert np.array_equal(thick.bone_wall, canal.bone_wall)
    assert (thick.wall - thick.dura).min() > 0.2


def test_cord_shift_moves_the_cord_to_the_left_only(anatomy, canal, inner):
    shifted = anatomy.with_pose(cord_shift=1.5).canal
    left, right = 18, 54
    at_t9 = int(canal.station("T9"))
    assert shifted.cord[at_t9, left] - canal.cord[at_t9, left] == pytest.approx(1.5, abs=0.2)
    assert shifted.cord[at_t9, right] - canal.cord[at_t9, right] == pytest.approx(-1.5, abs=0.2)
    assert np.array_equal(shifted.dura, canal.dura)
    assert (shifted.dura - shifted.cord)[inner].min() > 0.2


def test_stature_scales_sac_cord_and_flavum(canal):
    parameters = SpineParameters(stature_scale=1.1)
    tall = build_chart(build_bones(parameters), level_poses(parameters), parameters)
    for level in ("T8", "T12", "L3"):
        here, there = round(canal.station(level)), round(tall.station(level))
        for table in ("sac_depth", "sac_width", "flavum_thickness"):
            ratio = getattr(tall, table)[there] / getattr(canal, table)[here]
            assert ratio == pytest.approx(1.1, abs=0.01), table
    assert tall.u[-1] / canal.u[-1] == pytest.approx(1.1, abs=0.02)
    assert tall.cord_half_width[round(tall.station("T9"))] == pytest.approx(
        1.1 * canal.cord_half_width[round(canal.station("T9"))], abs=0.05
    )


def test_scoliosis_turns_the_chart_with_the_bones(anatomy, canal):
    curved = anatomy.with_pose(scoliosis=radians(25.0)).canal
    apex = curved.centre[np.argmax(np.abs(curved.centre[:, 0]))]
    assert apex[0] > 5.0
    pose = anatomy.with_pose(scoliosis=radians(25.0)).poses["T11"]
    row = int(curved.station("T11"))
    assert curved.left[row] @ pose.rotation[:, 0] > 0.99
    assert (curved.wall - curved.dura).min() > 0.2


MOVED = {name: limits for name, limits in LIMITS.items() if name not in (*SHAPE, "stature_scale")}


@settings(max_examples=12, deadline=None, derandomize=True)
@given(values=st.fixed_dictionaries({name: st.floats(*limits) for name, limits in MOVED.items()}))
def test_chart_of_any_posture_is_finite_and_nested(anatomy, values):
    nested(anatomy.with_pose(**values).canal)


@pytest.mark.parametrize(
    "shape",
    [
        {"window_scale": 0.5, "facet_hypertrophy": 1.0, "spinous_overlap": 1.0, "stature_scale": 0.85},
        {"window_scale": 1.5, "facet_hypertrophy": 0.3, "spinous_overlap": -1.0, "stature_scale": 1.15},
    ],
)
def test_chart_of_extreme_bones_is_finite_and_nested(shape):
    parameters = SpineParameters(**shape, flavum_scale=2.0, disc_loss=0.4)
    bones = build_bones(parameters, pitch=1.6)
    nested(build_chart(bones, level_poses(parameters), parameters))


def nested(chart):
    """Assert that all tables are finite and each surface lies inside the next."""
    for table in (chart.wall, chart.dura, chart.cord, chart.closed_wall, chart.roof):
        assert np.isfinite(table).all()
    for table in (chart.surface_coefficients, chart.radius_coefficients, chart.frame_coefficients):
        assert np.isfinite(table).all()
    assert (chart.wall - chart.dura).min() > 0.2
    assert (chart.dura - chart.cord).min() >= 0.0
    assert chart.wall.min() >= 2.5
    assert np.all(np.diff([chart.station(level) for level in chart.levels]) > 5.0)
    assert np.all(chart.dura <= sac_ellipse(chart, chart.theta) + 1e-9)
