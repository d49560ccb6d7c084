"""Cortex shells and ribs of the ordinary adult: closed, nested, in their places."""

import numpy as np
import pytest
import pyvista
import trimesh

from meshes.cortex import coarser_grid, cortex_thickness, nested_surfaces, smooth_noise
from meshes.frames import Pose
from meshes.levels import COLUMN
from meshes.rib import (
    RIB_LEVELS,
    mirrored,
    one_rib,
    rib_attachments,
    rib_levels,
    rib_line,
    rib_number,
    rib_shells,
)
from meshes.tables.loader import number


def closed(mesh):
    seen = trimesh.Trimesh(*mesh, process=False)
    assert seen.is_watertight and seen.volume > 0.0
    return seen


@pytest.mark.parametrize("level", COLUMN)
def test_both_surfaces_of_a_bone_are_closed(anatomy, level):
    bone = anatomy.bones[level]
    outside, core = (closed(mesh) for mesh in nested_surfaces(bone))
    whole = trimesh.Trimesh(bone.vertices, bone.faces, process=False)
    assert outside.volume == pytest.approx(whole.volume, rel=0.015)
    # A share that follows from the assumed thicknesses: less where the arch is a larger part of the bone.
    assert 0.35 < core.volume / outside.volume < 0.80


@pytest.mark.parametrize("level", ["T8", "T12", "L3", "S1"])
def test_the_coarser_outside_follows_the_bone(anatomy, level):
    """Distance of its vertices from the bone's own exact grid."""
    bone = anatomy.bones[level]
    (vertices, _), _ = nested_surfaces(bone)
    off = bone.grid.at(vertices)
    assert np.sqrt(np.mean(off**2)) < 0.06
    assert np.abs(off).max() < 0.7


@pytest.mark.parametrize("level", ["T8", "L3"])
def test_the_core_lies_as_deep_as_the_rule_says(anatomy, level):
    bone = anatomy.bones[level]
    _, (vertices, _) = nested_surfaces(bone, rough=False)
    wanted = cortex_thickness(
        vertices[:, 1],
        vertices[:, 2],
        posterior_wall=bone.shape.posterior_wall,
        body_height=bone.shape.posterior_height,
    )
    error = -bone.grid.at(vertices) - wanted
    assert abs(np.median(error)) < 0.02
    assert np.sqrt(np.mean(error**2)) < 0.1


def test_the_inside_of_the_cortex_is_rough(anatomy):
    """As uneven as the table says, less where a thin cortex leaves no room; the mean stays."""
    bone = anatomy.bones["L3"]
    (outside, _), (even, _) = nested_surfaces(bone, rough=False)
    (same, _), (vertices, _) = nested_surfaces(bone)
    assert np.array_equal(outside, same) and len(vertices) != len(even)
    off = -bone.grid.at(vertices) - cortex_thickness(
        vertices[:, 1],
        vertices[:, 2],
        posterior_wall=bone.shape.posterior_wall,
        body_height=bone.shape.posterior_height,
    )
    roughness = number("xray", "trabecula.roughness")
    assert abs(np.median(off)) < 0.3 * roughness
    assert 0.6 * roughness < off.std() < 1.1 * roughness
    grid = np.stack(np.meshgrid(*[np.arange(0.0, 30.0, 0.7)] * 3), axis=-1)
    assert smooth_noise(grid).std() == pytest.approx(1.0, abs=0.1)
    assert abs(smooth_noise(grid).mean()) < 0.05


def test_thickness_by_place():
    def at(y, z):
        return float(cortex_thickness(y, z, posterior_wall=16.0, body_height=26.0))

    assert at(0.0, 0.0) == pytest.approx(number("xray", "cortex.wall"), abs=1e-3)
    assert at(0.0, 13.0) == pytest.approx(number("xray", "cortex.endplate"), abs=5e-3)
    assert at(40.0, -10.0) == pytest.approx(number("xray", "cortex.arch"), abs=1e-3)
    across = [at(y, 0.0) for y in np.linspace(0.0, 40.0, 80)]
    assert np.all(np.diff(across) >= -1e-12)


def test_coarser_grid_keeps_the_field(anatomy):
    grid = anatomy.bones["L1"].grid
    values, origin = coarser_grid(grid, 2.0 * grid.pitch)
    np.testing.assert_allclose(values[:-1, :-1, :-1], grid.values[::2, ::2, ::2][: len(values) - 1,
                               : values.shape[1] - 1, : values.shape[2] - 1], atol=1e-5)  # fmt: skip
    np.testing.assert_array_equal(origin, grid.origin)
    with pytest.raises(ValueError, match="pitch must be at least 0.8, the bone's own, got 0.5"):
        nested_surfaces(anatomy.bones["L1"], pitch=0.5)


def own_line(bone):
    head, tubercle = rib_attachments(bone)
    return rib_line(bone.level, head=head, tubercle=tubercle), head, tubercle


@pytest.mark.parametrize("level", RIB_LEVELS)
def test_ribs_are_closed_and_stay_on_their_side(anatomy, level):
    outside, marrow = one_rib(anatomy.bones[level])
    shell, core = closed(outside), closed(marrow)
    assert 0.3 < core.volume / shell.volume < 0.8
    assert shell.vertices[:, 0].min() > 5.0
    right = closed(mirrored(outside))
    assert right.volume == pytest.approx(shell.volume) and right.vertices[:, 0].max() < -5.0


@pytest.mark.parametrize("level", rib_levels(12))
def test_ribs_start_on_the_bone_and_run_down(anatomy, level):
    bone = anatomy.bones[level]
    line, head, tubercle = own_line(bone)
    np.testing.assert_allclose(line[0], head, atol=1e-9)
    assert abs(bone.grid.at(head[None])[0]) < 4.0
    assert line[-1, 2] < head[2] - 40.0
    # The shaft keeps clear of the bone: never deeper than the tubercle's joint.
    shaft = line[np.linalg.norm(line - tubercle, axis=1).argmin() + 3 :]
    assert bone.grid.at(shaft).min() > 0.0


@pytest.mark.parametrize("level", rib_levels(11)[:-1])
def test_head_and_tubercle_are_thicker_than_the_neck(anatomy, level):
    """Girth of the rings (14 points each): a round head, a waist behind it, a knob at the tubercle."""
    bone = anatomy.bones[level]
    line, _, tubercle = own_line(bone)
    rings = one_rib(bone)[0][0][:-2].reshape(len(line), -1, 3)
    girth = np.linalg.norm(rings - np.roll(rings, 1, axis=1), axis=-1).sum(axis=1)
    knob = np.linalg.norm(line - tubercle, axis=1).argmin()
    neck = girth[: knob + 1][4:].min()
    assert girth[:4].max() > 1.15 * neck and girth[knob - 1 : knob + 2].max() > 1.25 * neck


def test_twelfth_rib_is_as_long_and_steep_as_measured(anatomy):
    """One open whole-body mesh: tip 73 mm below the head; lateral reach of 43 to 64 mm."""
    line, head, _ = own_line(anatomy.bones["T12"])
    assert head[2] - line[-1, 2] == pytest.approx(73.0)
    assert 43.0 <= line[-1, 0] - head[0] <= 64.0


def test_a_thirteenth_rib_goes_on_from_the_first_lumbar_process(anatomy):
    line, _, _ = own_line(anatomy.bones["L1"])
    assert abs(anatomy.bones["L1"].grid.at(line[:1])[0]) < 1.0
    assert np.linalg.norm(line[-1] - line[0]) < 0.6 * number("rib", "T12.drop")


@pytest.mark.parametrize("pairs, last", [(11, "T11"), (12, "T12"), (13, "L1")])
def test_number_of_pairs(anatomy, pairs, last):
    assert rib_levels(pairs)[-1] == last and rib_number(last) == pairs
    shells = rib_shells(anatomy.with_pose(rib_pairs=pairs))
    assert list(shells)[-1] == f"rib {pairs} right" and len(shells) == 2 * (pairs - 5)


def test_ribs_stay_under_the_skin(anatomy):
    """Inside the closed trunk by VTK's point location."""
    skin = pyvista.PolyData.from_regular_faces(*anatomy.tissue.trunk_mesh())
    for name, (outside, _) in rib_shells(anatomy.with_pose(rib_pairs=13)).items():
        points = pyvista.PolyData(outside[0])
        assert points.select_interior_points(skin)["selected_points"].all(), name
    outside = pyvista.PolyData(np.array([[0.0, 0.0, 1000.0]]))
    assert not outside.select_interior_points(skin)["selected_points"].any()


def test_a_level_without_rib_is_refused():
    with pytest.raises(ValueError, match=r"level must be one of T6, .*, L1, got 'L2'"):
        rib_line("L2", head=np.zeros(3), tubercle=np.ones(3))
    assert len(rib_line("T12", head=np.array([19.0, 0.0, 0.0]), tubercle=np.array([25.0, 20.0, 0.0]))) > 10


def test_mirroring_twice_changes_nothing():
    mesh = (np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [7.0, 8.0, 10.0]]), np.array([[0, 1, 2]]))
    again = mirrored(mirrored(mesh))
    assert np.array_equal(again[0], mesh[0]) and np.array_equal(again[1], mesh[1])
    assert Pose(np.eye(3), np.zeros(3)).apply(again[0]) == pytest.approx(mesh[0])
