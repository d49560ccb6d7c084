"""The bench phantom: closed, as thick as asked for, and the bones lie inside."""

import numpy as np
import pytest
import trimesh

from meshes.phantom import phantom_meshes, skin_block


@pytest.fixture(scope="module")
def phantom(anatomy):
    return phantom_meshes(anatomy, wall=2.5)


def test_every_part_is_one_closed_body(phantom):
    assert list(phantom)[:3] == ["skin block", "T10", "T11"] and list(phantom)[-1] == "S1"
    for name, mesh in phantom.items():
        part = trimesh.Trimesh(*mesh, process=False)
        assert part.is_watertight and part.is_winding_consistent and part.volume > 0.0, name
        assert part.body_count == 1, name


def test_the_floor_is_the_skin_and_as_thick_as_asked_for(anatomy, phantom):
    """Rays of embree from inside the tray, square to the skin: through the wall and out."""
    block = trimesh.Trimesh(*phantom["skin block"], process=False)
    for x, z in ((1.0, 60.3), (31.0, 120.7), (-40.0, 180.1)):
        point, normal, _, _ = anatomy.tissue.skin_frame(x, z)
        hits, _, _ = block.ray.intersects_location([point - 8.0 * normal], [normal], multiple_hits=True)
        assert len(hits) == 2
        outer = hits[np.argmax(hits @ normal)]
        assert np.linalg.norm(outer - point) < 0.1
        assert np.ptp(hits @ normal) == pytest.approx(2.5, abs=0.1)


def test_the_bones_lie_in_the_tray(anatomy, phantom):
    """No bone touches it, and from the front every bone can be laid in: nothing of the tray is in the way."""
    block = trimesh.Trimesh(*phantom["skin block"], process=False)
    for name, (vertices, _) in phantom.items():
        if name == "skin block":
            continue
        some = vertices[::40]
        assert not block.contains(some).any()
        assert not block.ray.intersects_any(some, np.tile([0.0, -1.0, 0.0], (len(some), 1))).any()
        assert block.ray.intersects_any(some, np.tile([0.0, 1.0, 0.0], (len(some), 1))).all()
        assert vertices[:, 1].min() > block.bounds[0, 1] + 3.0


@pytest.mark.parametrize("wall", [0.5, 9.0])
def test_walls_that_do_not_print_are_refused(anatomy, wall):
    with pytest.raises(ValueError, match="wall must lie between 1 and 6 mm"):
        skin_block(anatomy.tissue, wall=wall, low=50.0, high=90.0, front=-50.0)
    assert len(skin_block(anatomy.tissue, wall=1.0, low=50.0, high=90.0, front=-50.0)[1]) > 100


def test_ends_in_the_wrong_order_are_refused(anatomy):
    with pytest.raises(ValueError, match="upper must not lie below lower"):
        phantom_meshes(anatomy, wall=2.0, upper="L4", lower="T12")
    assert list(phantom_meshes(anatomy, wall=2.0, upper="L2", lower="L3")) == ["skin block", "L2", "L3"]
