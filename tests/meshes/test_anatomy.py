"""The whole patient: what is shared when the posture changes, and what is drawn from the chart."""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
import trimesh

from meshes.anatomy import Anatomy, build_anatomy
from meshes.levels import COLUMN
from meshes.neuraxis import tube
from meshes.parameters import SpineParameters
from meshes.units import radians


def as_trimesh(mesh):
    return trimesh.Trimesh(*mesh, process=False)


def test_anatomy_holds_the_whole_column(anatomy):
    assert tuple(anatomy.bones) == COLUMN
    assert set(anatomy.poses) == set(COLUMN)
    assert anatomy.packed.levels == COLUMN


def test_parts_are_computed_once(anatomy):
    assert anatomy.canal is anatomy.canal
    assert anatomy.packed is anatomy.packed
    assert anatomy.dura is anatomy.dura


def test_anatomy_is_frozen(anatomy):
    with pytest.raises(dataclasses.FrozenInstanceError):
        anatomy.bones = {}


def test_another_posture_shares_the_bones_and_moves_them(anatomy):
    bent = anatomy.with_pose(lumbar_lordosis=radians(70.0))
    assert isinstance(bent, Anatomy)
    assert bent.bones is anatomy.bones
    assert bent.packed.values is anatomy.packed.values
    assert bent.parameters.lumbar_lordosis == pytest.approx(radians(70.0))
    assert np.linalg.norm(bent.poses["T8"].translation - anatomy.poses["T8"].translation) > 5.0
    assert bent.canal is not anatomy.canal


def test_the_same_posture_is_the_same_anatomy_to_the_bit(anatomy):
    again = anatomy.with_pose()
    assert np.array_equal(again.canal.surface_coefficients, anatomy.canal.surface_coefficients)
    fresh = build_anatomy(SpineParameters())
    assert np.array_equal(fresh.canal.surface_coefficients, anatomy.canal.surface_coefficients)


@pytest.mark.parametrize("name", ["window_scale", "facet_hypertrophy", "spinous_overlap", "stature_scale"])
def test_what_needs_new_bones_is_refused(anatomy, name):
    with pytest.raises(ValueError, match=f"changes must leave .* alone, got {name}: call build_anatomy"):
        anatomy.with_pose(**{name: getattr(anatomy.parameters, name)})


def test_bone_meshes_lie_where_the_packed_grids_say(anatomy):
    for level in ("T6", "T12", "S1"):
        vertices, faces = anatomy.bone_meshes[level]
        assert faces is anatomy.bones[level].faces
        assert np.abs(anatomy.packed.only((level,)).nearest(vertices[::40])).max() < 0.2


def test_neighbouring_bones_do_not_run_through_each_other(anatomy):
    for upper, lower in pairwise(COLUMN):
        vertices = anatomy.bone_meshes[lower][0][::7]
        assert anatomy.packed.only((upper,)).nearest(vertices).min() > -0.5, (upper, lower)


def test_dura_and_cord_are_closed_tubes_one_inside_the_other(anatomy):
    dura, cord = as_trimesh(anatomy.dura["dura"]), as_trimesh(anatomy.cord["cord"])
    for mesh in (dura, cord):
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0.0
    u, theta, r = anatomy.canal.to_chart(cord.vertices[5:-5])
    inner = (u > anatomy.canal.valid_span[0]) & (u < anatomy.canal.valid_span[1])
    assert np.all(r[inner] < anatomy.canal.radii(u, theta)[2][inner])


def test_cord_mesh_agrees_with_the_chart(anatomy):
    canal = anatomy.canal
    row = 2 * int(0.5 * canal.station("T9"))
    cord = as_trimesh(anatomy.cord["cord"])
    section = cord.section(canal.tangent[row], canal.centre[row])
    _, theta, r = canal.to_chart(np.asarray(section.vertices))
    assert r == pytest.approx(canal.radii(canal.u[row], theta)[0], abs=0.05)


def test_tube_of_a_cylinder_has_its_volume():
    theta = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    circle = np.stack([3.0 * np.cos(theta), 3.0 * np.sin(theta), np.zeros(200)], axis=-1)
    mesh = as_trimesh(tube(circle + np.array([0.0, 0.0, 1.0]) * np.linspace(0.0, 10.0, 11)[:, None, None]))
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(np.pi * 9.0 * 10.0, rel=1e-3)


def test_parts_beside_the_column_are_the_owners(anatomy):
    assert set(anatomy.landmarks.levels) == set(COLUMN)
    assert set(anatomy.pelvis) == {"ilium left", "ilium right"}
    assert anatomy.implants == {}
    assert {"rib 12 left", "rib 12 right"} <= set(anatomy.ribs)
    assert anatomy.pelvis is anatomy.pelvis


@pytest.mark.parametrize("name", ["ligaments", "muscles", "roots", "pelvis"])
def test_soft_parts_beside_the_column_are_closed_and_kept(anatomy, name):
    meshes = getattr(anatomy, name)
    assert meshes is getattr(anatomy, name)
    assert len(meshes) >= 2
    for part, mesh in meshes.items():
        assert as_trimesh(mesh).is_watertight, part


def test_a_coarse_anatomy_has_coarse_bones_of_the_same_shape(anatomy):
    coarse = build_anatomy(pitch=1.4)
    assert coarse.bones["L1"].grid.pitch == pytest.approx(1.4)
    assert len(coarse.bones["L1"].faces) < 0.4 * len(anatomy.bones["L1"].faces)
    away = anatomy.bones["L1"].grid.at(coarse.bones["L1"].vertices)
    assert np.sqrt(np.mean(away**2)) < 0.15
    assert coarse.canal.station("T9") == pytest.approx(anatomy.canal.station("T9"), abs=0.5)
