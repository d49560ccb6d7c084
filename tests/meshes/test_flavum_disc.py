"""Flava and discs: closed bodies that lie where they should."""

import numpy as np
import pytest
import trimesh

from meshes.disc import disc_mesh, plate_rim
from meshes.flavum import closed_plate, flavum_surfaces
from meshes.levels import INTERSPACES
from meshes.lofts import closed_loft
from meshes.parameters import SpineParameters
from meshes.units import radians


@pytest.fixture(scope="module")
def spines(anatomy):
    """Return the ordinary adult, a curved one, and one with thick flava and worn discs."""
    return (
        anatomy,
        anatomy.with_pose(scoliosis=radians(-30.0), lumbar_lordosis=radians(70.0)),
        anatomy.with_pose(flavum_scale=1.5, disc_loss=0.4, lumbar_lordosis=radians(20.0)),
    )


def closed(vertices, faces):
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert np.isfinite(vertices).all() and mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.body_count == 1 and mesh.volume > 0.0
    return mesh


def test_every_ligament_and_disc_is_one_closed_body(spines):
    for spine in spines:
        assert tuple(spine.discs) == INTERSPACES and set(spine.flava) == set(spine.canal.interspaces)
        for vertices, faces in (*spine.discs.values(), *spine.flava.values()):
            closed(vertices, faces)


def test_front_of_the_flavum_is_the_wall_of_the_canal(anatomy):
    front, back = flavum_surfaces(anatomy.canal, "T12-L1")
    u, theta, r = anatomy.canal.to_chart(front)
    assert np.abs(r - anatomy.canal.radii(u, theta)[3]).max() < 1e-3
    outer = anatomy.canal.to_chart(back)[2]
    assert np.all(outer > r + 0.1) and np.all(np.abs(front[..., 0]) < 15.0)


def test_thick_flava_are_thicker(spines):
    usual, _, thick = (closed(*spine.flava["L3-L4"]).volume for spine in spines)
    assert 1.15 * usual < thick < 2.0 * usual


def test_flava_stay_out_of_bone(anatomy):
    """But for where they take hold: 95 of 100 points keep out of bone by more than -0.6 mm."""
    for name in ("T11-T12", "T12-L1", "L1-L2", "L2-L3"):
        room = anatomy.packed.nearest(anatomy.flava[name][0])
        assert np.percentile(room, 5) > -0.6 and room.min() > -1.0


def test_discs_lie_on_the_end_plates_and_not_in_bone(spines):
    for spine in spines:
        for name, (vertices, _) in spine.discs.items():
            room = spine.packed.nearest(vertices)
            assert room.min() > -0.15, name
            assert np.mean(np.abs(room) < 0.3) > 0.6, name


def test_discs_do_not_close_the_canal(spines):
    """The front of the dura is nowhere inside a disc."""
    for spine in spines:
        canal = spine.canal
        u = np.linspace(*canal.valid_span, 60)
        points = canal.to_world(u, np.pi, canal.radii(u, np.pi)[2] - 0.5)
        for name in ("T12-L1", "L1-L2", "L2-L3", "L3-L4"):
            assert not trimesh.Trimesh(*spine.discs[name], process=False).contains(points).any(), name


def test_worn_discs_are_lower(spines):
    usual, worn = (closed(*spine.discs["L2-L3"]).volume for spine in (spines[0], spines[2]))
    assert worn < 0.75 * usual


def test_rim_is_that_of_the_body(anatomy):
    """Against the body's own depth: the rim's extent from front to back."""
    for level in ("T9", "L1", "L3"):
        bone = anatomy.bones[level]
        rim = plate_rim(bone, side=1.0, scale=1.0)
        angle = np.linspace(0.0, 2.0 * np.pi, 64, endpoint=False)
        depth = np.ptp(rim * np.sin(angle))
        assert depth == pytest.approx(bone.shape.body_depth, abs=4.0) and rim.min() > 8.0


def test_discs_follow_stature():
    from meshes.anatomy import build_anatomy

    small = closed(*disc_mesh(build_anatomy(SpineParameters(stature_scale=0.9)), "L2-L3"))
    usual = closed(*disc_mesh(build_anatomy(), "L2-L3"))
    assert small.volume == pytest.approx(0.9**3 * usual.volume, rel=0.08)


def test_loft_and_plate_of_known_volume():
    """Closed form: a 64-gon prism, and a box."""
    angle = np.linspace(0.0, 2.0 * np.pi, 64, endpoint=False)
    ring = np.column_stack([np.cos(angle), np.sin(angle), 0.0 * angle])
    mesh = closed(*closed_loft(np.stack([np.add(ring, [0.0, 0.0, z]) for z in (0.0, 1.0, 3.0)])))
    assert mesh.volume == pytest.approx(3.0 * 32.0 * np.sin(2.0 * np.pi / 64.0))
    x, z = np.meshgrid(np.linspace(0.0, 2.0, 5), np.linspace(0.0, 3.0, 4))
    front = np.stack([x, 0.0 * x, z], axis=-1)
    assert closed(*closed_plate(front, np.add(front, [0.0, 1.5, 0.0]))).volume == pytest.approx(9.0)
