"""Mesh facts against trimesh and closed forms."""

import numpy as np
import pytest
import trimesh

from meshes.measure_meshes import enclosed_volume, is_closed, measure_mesh


def test_a_box():
    box = trimesh.creation.box((10.0, 20.0, 30.0))
    facts = measure_mesh(box.vertices + 1000.0, box.faces)
    assert (facts.vertices, facts.faces, facts.closed) == (8, 12, True)
    assert facts.volume == pytest.approx(6000.0, rel=1e-12)


def test_a_missing_face_opens_it():
    box = trimesh.creation.box()
    assert not is_closed(box.faces[1:])
    assert not is_closed(box.faces[:0])


def test_a_turned_face_opens_it():
    faces = trimesh.creation.box().faces.copy()
    faces[3] = faces[3, ::-1]
    assert not is_closed(faces)


def test_inside_out_is_closed_with_negative_volume():
    ball = trimesh.creation.icosphere(subdivisions=3)
    assert is_closed(ball.faces[:, ::-1])
    assert enclosed_volume(ball.vertices, ball.faces[:, ::-1]) == pytest.approx(-ball.volume)


@pytest.mark.parametrize("level", ["T7", "L4", "S1"])
def test_bones_agree_with_trimesh(anatomy, level):
    bone = anatomy.bones[level]
    mesh = trimesh.Trimesh(bone.vertices, bone.faces, process=False)
    facts = measure_mesh(bone.vertices, bone.faces)
    assert facts.closed == (mesh.is_watertight and mesh.is_winding_consistent)
    assert facts.closed
    assert facts.volume == pytest.approx(mesh.volume, rel=1e-6)
    assert facts.volume > 0.0
    assert np.ptp(bone.faces) == facts.vertices - 1
