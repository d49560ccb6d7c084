"""The corridor as a body: closed, around every needle that gets through, and none where none does."""

import numpy as np
import pytest
import trimesh

from meshes.units import radians
from trainer.physics.corridor import corridor
from trainer.physics.corridor_ghost import corridor_axes, ghost_mesh
from trainer.physics.needle import Needle
from trainer.physics.needle_check import check_needle

COARSE = {"lateral": np.linspace(0.0, 32.0, 17), "caudal": np.linspace(15.0, 110.0, 39)}


@pytest.fixture(scope="module")
def found(anatomy):
    approach = radians(np.linspace(30.0, 45.0, 6))
    return corridor(anatomy, "T12-L1", side="right", approach=approach, needle=Needle(152.0), **COARSE)


def test_axes_are_those_of_the_check(anatomy, found):
    ends, places = corridor_axes(found), np.argwhere(found.serving)
    assert len(ends) == len(places) > 20
    for k in range(0, len(ends), 7):
        check = check_needle(anatomy, found.aim(places[k]), found.needle)
        assert ends[k, 0] == pytest.approx(check.entry, abs=1e-9)
        assert ends[k, 1] == pytest.approx(check.epidural_entry, abs=0.4)


def test_the_body_is_closed_and_holds_every_axis(found):
    """By trimesh: watertight, outward, every needle inside to rounding."""
    for for_lead in (True, False):
        vertices, faces = ghost_mesh(found, for_lead=for_lead)
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 100.0
        ends = corridor_axes(found, for_lead=for_lead)
        points = np.concatenate([ends[:, 0] + s * (ends[:, 1] - ends[:, 0]) for s in (0.0, 0.3, 0.7, 1.0)])
        out = np.einsum("ijk,jk->ij", points[:, None] - mesh.triangles[:, 0], mesh.face_normals)
        assert out.max() < 1e-6
    joint, _ = ghost_mesh(found)
    assert (joint[:, 0] < -1.5).all()


def test_what_serves_the_lead_is_a_part_of_what_is_free(found):
    joint, alone = (trimesh.Trimesh(*ghost_mesh(found, for_lead=lead)) for lead in (True, False))
    assert joint.volume < alone.volume and 0.0 < found.joint_share < found.share
    assert not (found.serving & ~found.free).any()


def test_no_body_where_too_few_get_through(anatomy):
    closed = corridor(anatomy, "T12-L1", approach=radians([45.0]), lateral=[0.0], caudal=[45.0], medial=[0.0])
    assert ghost_mesh(closed) is None and closed.widest(for_lead=True) is None


def test_the_widest_for_the_lead_serves_it(found):
    check = found.widest(candidates=15, for_lead=True)
    assert check.passes and 1.9 <= -check.lateral_offset <= 5.6 and 8.5 <= check.crossing_travel <= 31.0


def test_shares_over_two_axes(found):
    """Averages of the same samples: any two axes, in either order."""
    table = found.over("caudal", "approach")
    assert table.shape == (39, 6) and table.mean() == pytest.approx(found.share)
    np.testing.assert_array_equal(found.over("approach", "caudal"), table.T)
    assert found.over("medial", "lateral", for_lead=True).mean() == pytest.approx(found.joint_share)
