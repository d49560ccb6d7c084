"""Iliac wings: closed, nested, in the right place and size, and moving with the sacrum."""

import numpy as np
import pytest
import trimesh

from meshes.pelvis import crest_line, pelvis_meshes, pelvis_shells, wing
from meshes.tables.loader import number, table
from meshes.units import radians


def closed(mesh):
    seen = trimesh.Trimesh(*mesh, process=False)
    assert seen.is_watertight and seen.is_winding_consistent and seen.volume > 0.0 and seen.body_count == 1
    return seen


def test_both_wings_are_closed_and_nested(anatomy):
    for outside, core in pelvis_shells(anatomy).values():
        shell, inner = closed(outside), closed(core)
        assert shell.contains(inner.vertices).all()
        assert 0.3 < inner.volume / shell.volume < 0.8
    assert list(pelvis_shells(anatomy)) == list(pelvis_meshes(anatomy)) == ["ilium left", "ilium right"]


def test_breadth_and_length_are_those_of_the_table(anatomy):
    points = np.vstack([vertices for vertices, _ in pelvis_meshes(anatomy).values()])
    assert np.ptp(points[:, 0]) == pytest.approx(number("pelvis", "bicristal_breadth"), abs=2.0)
    left = wing()[0]
    behind, front = left[left[:, 1].argmax()], left[left[:, 1].argmin()]
    figure = table("pelvis")["spine_to_spine"]
    assert figure.low < np.linalg.norm(behind - front) < figure.high


def test_wings_stand_beside_the_sacrum_under_the_skin(anatomy):
    """Never into a bone; as near to the sacrum as a joint of some mm; no crest through the skin."""
    for vertices, _ in pelvis_meshes(anatomy).values():
        room = anatomy.packed.nearest(vertices)
        assert 0.5 < room.min() < 8.0
    skin = trimesh.Trimesh(*anatomy.tissue.trunk_mesh(), process=False)
    assert all(skin.contains(vertices).all() for vertices, _ in pelvis_meshes(anatomy).values())


def test_the_pelvis_tilts_with_the_sacrum(anatomy):
    steep = anatomy.with_pose(lumbar_lordosis=radians(70.0))
    turn = steep.poses["S1"].rotation @ anatomy.poses["S1"].rotation.T
    moved, rest = (pelvis_meshes(a)["ilium left"][0] for a in (steep, anatomy))
    about = anatomy.poses["S1"].translation
    expected = (rest - about) @ turn.T + steep.poses["S1"].translation
    np.testing.assert_allclose(moved, expected, atol=1e-6)
    assert crest_line(steep)[0, 1] != pytest.approx(crest_line(anatomy)[0, 1], abs=1.0)


def test_width_scale_widens_the_pelvis_alone_sideways(anatomy):
    from dataclasses import replace

    wide = replace(anatomy, parameters=anatomy.parameters.with_changes(width_scale=1.1))
    np.testing.assert_allclose(crest_line(wide), crest_line(anatomy) * [1.1, 1.0, 1.0], atol=1e-6)
