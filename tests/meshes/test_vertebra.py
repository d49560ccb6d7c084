"""Bones from their rows: closed, one body, even, clear of their neighbours, with landmarks on the bone."""

from functools import cache

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes.curve import level_poses
from meshes.fields import contour, evaluate, evaluate_half, evaluate_whole
from meshes.levels import COLUMN, LEVELS
from meshes.parameters import SpineParameters
from meshes.rows import box_of_rows
from meshes.units import radians
from meshes.vertebra import neighbour_clearance, shape_column, shaping_poses

COARSE = 1.4
SPINES = st.builds(
    SpineParameters,
    window_scale=st.floats(0.5, 1.5),
    facet_hypertrophy=st.floats(0.0, 1.0),
    spinous_overlap=st.floats(-1.0, 1.0),
    width_scale=st.floats(0.88, 1.12),
    canal_scale=st.floats(0.85, 1.15),
    asymmetry=st.sampled_from([0.0, -1.0, 0.4, 1.0]),
)


@cache
def rest():
    return shape_column(SpineParameters())


def built(shapes, level, pitch=COARSE):
    """Return the mesh of one bone, carved."""
    clearance = neighbour_clearance(shapes, level)
    if not shapes[level].symmetric:
        whole, origin = evaluate_whole(shapes[level].rows, pitch=pitch, clearance=clearance)
        return trimesh.Trimesh(*contour(whole, origin, pitch), process=False)
    half, origin = evaluate_half(shapes[level].rows, pitch=pitch, clearance=clearance)
    whole = np.concatenate([half[:, :, :0:-1], half], axis=2)
    corner = np.array([-pitch * (half.shape[2] - 1), origin[1], origin[2]])
    return trimesh.Trimesh(*contour(whole, corner, pitch), process=False)


@cache
def resting_mesh(level):
    return built(rest(), level)


@settings(deadline=None, max_examples=12)
@given(parameters=SPINES, levels=st.lists(st.sampled_from(COLUMN), min_size=3, max_size=3, unique=True))
def test_every_bone_is_closed_one_body_and_finite(parameters, levels):
    shapes = shape_column(parameters)
    for level in levels:
        mesh = built(shapes, level)
        assert np.isfinite(mesh.vertices).all()
        assert mesh.is_watertight
        assert mesh.body_count == 1
        assert mesh.volume > 15_000.0
        low, high = box_of_rows(shapes[level].rows)
        assert (mesh.vertices > low).all()
        assert (mesh.vertices < high).all()


@pytest.mark.parametrize("level", COLUMN)
def test_resting_bones_have_their_holes(level):
    """A vertebra has one hole, its canal. The sacrum has eight foramina more, of which six open into the
    canal on their way: nine holes and six."""
    mesh = built(rest(), level, pitch=0.8)
    assert mesh.is_watertight
    assert mesh.body_count == 1
    assert mesh.euler_number == (-28 if level == "S1" else 0)


@pytest.mark.parametrize("level", ["T7", "T12", "L4"])
def test_mesh_is_its_own_mirror_image(level):
    vertices = resting_mesh(level).vertices
    mirrored = vertices * [-1.0, 1.0, 1.0]
    order, other = (np.lexsort(np.round(v, 3).T) for v in (vertices, mirrored))
    np.testing.assert_allclose(vertices[order], mirrored[other], atol=2e-3)


@pytest.mark.parametrize("level", LEVELS)
def test_rows_are_even_in_x_at_the_surface(level):
    """Blends depend a little on the order of the rows, and left comes before right."""
    shape = rest()[level]
    vertices = resting_mesh(level).vertices[::20]
    here, there = (evaluate(shape.rows, vertices * [s, 1.0, 1.0]) for s in (1.0, -1.0))
    np.testing.assert_allclose(here, there, atol=0.06)


@pytest.mark.parametrize("level", COLUMN[1:])
def test_bones_at_rest_keep_clear_of_the_bone_above(level):
    shapes, clearance = rest(), neighbour_clearance(rest(), level)
    above = shapes[COLUMN[COLUMN.index(level) - 1]]
    seen = resting_mesh(level).vertices @ clearance.rotation.T + clearance.translation
    distance = evaluate(above.articular_rows, seen)
    assert distance.min() > 0.4
    lateral = np.abs(seen[:, 0]) > clearance.inner_limit + 1.0
    assert distance[lateral].min() > 0.8
    # The bone itself without the plumper stand-ins of its joints, and its body.
    assert evaluate(above.rows, seen).min() > 0.4


def test_clearance_is_relative_to_the_bone_above():
    poses, clearance = shaping_poses(), neighbour_clearance(rest(), "L2")
    point = np.array([3.0, 20.0, 15.0])
    np.testing.assert_allclose(
        poses["L1"].apply(clearance.rotation @ point + clearance.translation), poses["L2"].apply(point)
    )


def test_clearance_in_another_pose():
    bent = level_poses(SpineParameters(lumbar_lordosis=radians(70.0)))
    at_rest, carved = (neighbour_clearance(rest(), "L5", poses=poses) for poses in (None, bent))
    assert np.abs(at_rest.rotation - carved.rotation).max() > 0.01
    assert (at_rest.gap, at_rest.inner_limit) == (carved.gap, carved.inner_limit)


def test_uppermost_bone_has_nothing_above_and_unknown_levels_are_refused():
    assert neighbour_clearance(rest(), "T6") is None
    assert neighbour_clearance(rest(), "t7").inner_limit > 4.0
    with pytest.raises(ValueError, match="level must be one of T6, .* got 'C2'"):
        neighbour_clearance(rest(), "C2")


@pytest.mark.parametrize("level", COLUMN)
def test_landmarks_lie_on_the_bone(level):
    shape = rest()[level]
    on_laminae = [[x, *shape.lamina.between(x, 0.5)] for x in (0.0, 4.0, -4.0)]
    assert (evaluate(shape.rows, on_laminae) < -1.5).all()
    mesh = resting_mesh(level)
    behind = mesh.vertices[np.abs(mesh.vertices[:, 0]) < 1.0]
    assert np.linalg.norm(behind[:, 1:] - shape.spinous_tip, axis=1).min() < 2.5
    # The posterior wall, and the canal behind it, at half height.
    wall = [[0.0, shape.posterior_wall + y, 0.0] for y in (-3.0, 3.0)]
    inside, outside = evaluate(shape.rows, wall)
    assert inside < 0.0 < outside


def test_facets_grow_and_narrow_the_window():
    thick = shape_column(SpineParameters(facet_hypertrophy=1.0))
    for level in LEVELS:
        assert thick[level].window_half_width == pytest.approx(0.7 * rest()[level].window_half_width)
    volumes = [built(shapes, "L4").volume for shapes in (rest(), thick)]
    assert volumes[1] > volumes[0] + 200.0


def test_shapes_depend_on_the_shape_parameters_alone():
    moved = shape_column(
        SpineParameters(
            stature_scale=1.1,
            lumbar_lordosis=radians(70.0),
            thoracic_kyphosis=radians(40.0),
            scoliosis=radians(20.0),
            disc_loss=0.5,
            body_mass_index=40.0,
        )
    )
    for level in COLUMN:
        np.testing.assert_array_equal(moved[level].rows, rest()[level].rows)
        np.testing.assert_array_equal(moved[level].articular_rows, rest()[level].articular_rows)


def test_sacrum_has_no_window_below():
    sacrum = rest()["S1"]
    assert sacrum.window_half_width == 0.0
    assert len(sacrum.articular_rows) == 0
