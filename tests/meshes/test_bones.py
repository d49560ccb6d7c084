"""Bones from nothing and from disk: the same to the bit, in any state of the cache."""

import numpy as np
import pytest
import trimesh

from meshes import bones as bones_module
from meshes import cache
from meshes.bones import build_bones, meshed
from meshes.fields import evaluate_whole
from meshes.levels import COLUMN
from meshes.parameters import SpineParameters
from meshes.vertebra import shape_column

COARSE = 1.6  # [mm] a sixth of the work


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return an empty cache folder that this module's bones use."""
    folder = tmp_path_factory.mktemp("bones")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cache, "cache_root", lambda: folder)
        yield folder


@pytest.fixture(scope="module")
def heard(folder):
    """Return what progress was told while the coarse bones were first built."""
    told = []
    build_bones(SpineParameters(), pitch=COARSE, progress=lambda *said: told.append(said))
    return told


@pytest.fixture
def built(heard):
    return build_bones(SpineParameters(), pitch=COARSE)


def same(one, other):
    """Return whether two columns agree to the bit."""
    return all(
        np.array_equal(one[n].vertices, other[n].vertices)
        and np.array_equal(one[n].faces, other[n].faces)
        and np.array_equal(one[n].grid.values, other[n].grid.values)
        and np.array_equal(one[n].grid.origin, other[n].grid.origin)
        for n in COLUMN
    )


def test_every_bone_of_the_column_is_closed_and_turned_outward(built):
    assert tuple(built) == COLUMN
    for level, bone in built.items():
        mesh = trimesh.Trimesh(bone.vertices, bone.faces, process=False)
        assert mesh.is_watertight, level
        assert mesh.is_winding_consistent, level
        assert mesh.volume > 0.0, level


def test_grid_is_zero_on_the_mesh_and_negative_in_the_body(built):
    for level, bone in built.items():
        on_surface = bone.grid.at(bone.vertices[::50])
        assert np.sqrt(np.mean(on_surface**2)) < 0.1, level
        assert bone.grid.at([0.0, 0.0, 0.0]) < -3.0, level


def test_bones_are_mirror_images_in_their_midplane(built):
    for bone in built.values():
        assert np.array_equal(bone.grid.values, bone.grid.values[:, :, ::-1])
        assert bone.grid.origin[0] == pytest.approx(-0.5 * bone.grid.pitch * (bone.grid.values.shape[2] - 1))


def test_sphere_holds_the_bone(built):
    for bone in built.values():
        centre, radius = bone.sphere
        assert np.linalg.norm(bone.vertices - centre, axis=1).max() <= radius + 1e-9


def test_progress_counts_every_bone_once(heard):
    assert [done for done, _, _ in heard] == list(range(1, len(COLUMN) + 1))
    assert {total for _, total, _ in heard} == {len(COLUMN)}
    assert {words for _, _, words in heard} == {f"bone {level}" for level in COLUMN}


def test_bones_from_disk_are_those_that_were_built(built, monkeypatch):
    monkeypatch.setattr(cache, "load", lambda path: None)
    assert same(build_bones(SpineParameters(), pitch=COARSE), built)


def test_bones_from_disk_are_not_built_again(built, monkeypatch):
    def refuse(*arguments):
        raise AssertionError("built although on disk")

    monkeypatch.setattr(bones_module, "_build_all", refuse)
    told = []
    parameters = SpineParameters(lumbar_lordosis=1.0, disc_loss=0.3)
    again = build_bones(parameters, pitch=COARSE, progress=lambda *said: told.append(said))
    assert same(again, built)
    assert told == [(len(COLUMN), len(COLUMN), "bones from disk")]


def test_stature_scales_bones_and_distances_without_building(built, monkeypatch):
    monkeypatch.setattr(bones_module, "_build_all", None)
    tall = build_bones(SpineParameters(stature_scale=1.1), pitch=COARSE)
    points = np.random.default_rng(5).uniform(-20.0, 20.0, (300, 3)) + np.array([0.0, 20.0, 0.0])
    for level in ("T8", "L3"):
        assert tall[level].vertices == pytest.approx(1.1 * built[level].vertices)
        scaled = 1.1 * built[level].grid.at(points)
        assert tall[level].grid.at(1.1 * points) == pytest.approx(scaled, abs=1e-4)


def test_shape_parameters_make_other_bones(folder, built):
    wide = build_bones(SpineParameters(window_scale=1.4), pitch=COARSE)
    assert not same(wide, built)
    assert len(list(folder.glob("bones-*.npz"))) == 2


@pytest.mark.parametrize("damage", ["torn", "flipped"])
def test_a_damaged_file_is_built_again(folder, built, damage):
    for file in folder.glob("bones-*.npz"):
        whole = file.read_bytes()
        half = len(whole) // 2
        file.write_bytes(whole[:half] if damage == "torn" else whole[:half] + b"x" * 64 + whole[half + 64 :])
    told = []
    again = build_bones(SpineParameters(), pitch=COARSE, progress=lambda *said: told.append(said))
    assert same(again, built)
    assert len(told) == len(COLUMN)


def test_a_file_without_all_bones_is_built_again(folder, built):
    for file in folder.glob("bones-*.npz"):
        np.savez(file, only=np.zeros(3))
    assert same(build_bones(SpineParameters(), pitch=COARSE), built)


def test_bones_are_built_where_nothing_can_be_written(built, monkeypatch):
    monkeypatch.setattr(cache, "load", lambda path: None)

    def refuse(*arguments, **keywords):
        raise PermissionError("read-only")

    monkeypatch.setattr(cache.tempfile, "mkstemp", refuse)
    assert same(build_bones(SpineParameters(), pitch=COARSE), built)


def test_pitch_has_limits(built):
    with pytest.raises(ValueError, match=r"pitch must lie between 0.4 and 1.6 mm, got 2.0"):
        build_bones(SpineParameters(), pitch=2.0)
    with pytest.raises(ValueError, match="pitch must lie between"):
        build_bones(SpineParameters(), pitch=float("nan"))
    assert built["L1"].grid.pitch == COARSE


def test_bones_with_unlike_sides_are_closed_and_stand_on_whole_grids(folder):
    built = build_bones(SpineParameters(asymmetry=0.8), pitch=COARSE)
    for level in ("T8", "L2"):
        bone = built[level]
        assert trimesh.Trimesh(bone.vertices, bone.faces, process=False).is_watertight, level
        assert not np.array_equal(bone.grid.values, bone.grid.values[:, :, ::-1]), level
        assert np.sqrt(np.mean(bone.grid.at(bone.vertices[::50]) ** 2)) < 0.1, level
    again = build_bones(SpineParameters(asymmetry=0.8), pitch=COARSE)
    assert same(again, built)


def test_a_whole_grid_agrees_with_the_half_of_a_mirror_image(built):
    shapes = shape_column(SpineParameters())
    whole = meshed(*evaluate_whole(shapes["T6"].rows, pitch=COARSE), COARSE)
    half = built["T6"].grid.values
    assert whole["values"].shape == half.shape
    # The contour splits its squares along diagonals that are no mirror images, so the right side differs.
    middle = half.shape[2] // 2
    assert np.abs(whole["values"] - half)[:, :, middle:].max() < 0.1
    assert np.sqrt(np.mean((whole["values"] - half) ** 2)) < 0.02
