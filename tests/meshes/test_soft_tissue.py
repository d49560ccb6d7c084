"""Skin, fat and fascia: where they lie, what they follow, and what they refuse."""

import numpy as np
import pytest
import trimesh
from flat_back import ENTRY, flat_anatomy

from meshes.anatomy import build_anatomy
from meshes.back_profile import closing, fascia_line, spinous_line, spinous_tips
from meshes.canal_heights import canal_heights
from meshes.cover import expected_depth
from meshes.distance import PackedBones
from meshes.findings import CentralStenosis, FlavumThickening, Laminectomy
from meshes.levels import INTERSPACES
from meshes.parameters import SpineParameters
from meshes.soft_tissue import CENTRE_X, canal_height, skin_frame, window_centre
from meshes.sound_canal import disturbed, sound_centre
from meshes.tables.loader import number
from meshes.trunk import half_width
from meshes.units import radians


@pytest.fixture(scope="module")
def curved(anatomy):
    """Return the ordinary adult with a scoliosis of 30 degrees, convex to the left."""
    return anatomy.with_pose(scoliosis=radians(30.0))


def test_layers_lie_in_order(anatomy):
    tissue, canal = anatomy.tissue, anatomy.canal
    z = np.linspace(20.0, 300.0, 60)
    bone = spinous_tips(anatomy.bones, anatomy.poses, stature_scale=1.0)
    np.testing.assert_allclose(
        tissue.skin(0.0, z) - tissue.fascia(0.0, z), tissue.fat_on_row(z) + tissue.skin_thickness, atol=0.01
    )
    assert np.all(tissue.fascia(bone[:, 0], bone[:, 2]) > bone[:, 1])
    wall = np.array([window_centre(canal, name)[1] for name in canal.interspaces])
    at = np.array([window_centre(canal, name)[2] for name in canal.interspaces])
    assert np.all(tissue.fascia(0.0, at) > wall + 10.0)


def test_no_bone_reaches_through_the_fascia_on_the_row(anatomy):
    tissue = anatomy.tissue
    z = np.arange(-10.0, 310.0, 1.0)
    points = np.column_stack([tissue.midline(z), tissue.fascia(tissue.midline(z), z), z])
    room = anatomy.packed.nearest(points)
    assert room.min() > 0.5 and np.percentile(room, 25) < 4.0


def test_skin_frame_is_the_surface(anatomy):
    """Against finite differences of the height field; orthonormal and right-handed."""
    tissue, e = anatomy.tissue, 1e-4
    for x, z in ((0.0, 90.0), (15.0, 60.0), (-25.0, 140.5), (40.0, 220.25)):
        point, normal, cranial, left = tissue.skin_frame(x, z)
        by_x = (tissue.skin(x + e, z) - tissue.skin(x - e, z)) / (2.0 * e)
        by_z = (tissue.skin(x, z + e) - tissue.skin(x, z - e)) / (2.0 * e)
        expected = np.array([-by_x, 1.0, -by_z]) / np.sqrt(1.0 + by_x**2 + by_z**2)
        np.testing.assert_allclose(normal, expected, atol=1e-6)
        np.testing.assert_allclose(
            np.array([left, normal, cranial]) @ np.array([left, normal, cranial]).T, np.eye(3), atol=1e-9
        )
        assert np.linalg.det([left, normal, cranial]) == pytest.approx(1.0) and point[1] == pytest.approx(
            tissue.skin(x, z)
        )
        assert normal[1] > 0.5 and cranial[2] > 0.5 and left[0] > 0.5


def test_depth_is_the_shortest_way_to_the_skin(anatomy):
    """Against the nearest point of a dense skin surface (trimesh)."""
    tissue, z = anatomy.tissue, np.arange(60.0, 240.0, 0.5)
    x = np.arange(-20.0, 20.5, 0.5)
    grid_x, grid_z = np.meshgrid(x, z)
    skin = np.column_stack([grid_x.ravel(), tissue.skin(grid_x, grid_z).ravel(), grid_z.ravel()])
    cloud = trimesh.PointCloud(skin)
    for name in ("L2-L3", "L1-L2", "T12-L1", "T11-T12"):
        point = window_centre(anatomy.canal, name)
        nearest = np.sqrt(((cloud.vertices - point) ** 2).sum(axis=1).min())
        assert tissue.depth_to_epidural(name) == pytest.approx(nearest, abs=0.02)


def test_depth_on_a_flat_back():
    assert flat_anatomy().tissue.depth_to_epidural("T12-L1") == pytest.approx(-ENTRY, abs=1e-6)


@pytest.mark.parametrize("wanted", [38.0, 60.0, 90.0])
def test_given_depth_is_kept(anatomy, wanted):
    deep = anatomy.with_pose(skin_to_epidural=wanted)
    assert deep.tissue.depth_to_epidural("L2-L3") == pytest.approx(wanted, abs=0.02)


def test_body_mass_moves_the_fat_alone(anatomy):
    """Bahk et al., Reg Anesth Pain Med 1998;23:262: from the supraspinous ligament inward nothing changes."""
    heavy = anatomy.with_pose(body_mass_index=40.0)
    np.testing.assert_array_equal(heavy.tissue.profile, anatomy.tissue.profile)
    assert heavy.tissue.fat > anatomy.tissue.fat + 8.0
    for name in ("T12-L1", "L3-L4"):
        assert heavy.tissue.depth_to_epidural(name) > anatomy.tissue.depth_to_epidural(name) + 8.0


def test_fat_never_vanishes(anatomy):
    thin = anatomy.with_pose(skin_to_epidural=25.0)
    assert thin.tissue.fat == pytest.approx(1.0, abs=0.01) and thin.tissue.depth_to_epidural("L2-L3") > 25.0


def test_the_back_is_symmetric(anatomy):
    z = np.linspace(0.0, 300.0, 40)
    for x in (5.0, 20.0, 60.0):
        np.testing.assert_allclose(anatomy.tissue.skin(x, z), anatomy.tissue.skin(-x, z), atol=1e-9)


def test_the_furrow_follows_the_spinous_processes(curved):
    """In scoliosis the skin's midline runs over the tips, and cranial follows it."""
    tissue = curved.tissue
    tips = spinous_tips(curved.bones, curved.poses, stature_scale=1.0)
    assert np.ptp(tips[:, 0]) > 15.0
    np.testing.assert_allclose(tissue.midline(tips[:, 2]), tips[:, 0], atol=2.0)
    z = 150.0
    _, _, cranial, _ = tissue.skin_frame(tissue.midline(z), z)
    slope = (tissue.midline(z + 2.0) - tissue.midline(z - 2.0)) / 4.0
    assert cranial[0] / cranial[2] == pytest.approx(slope, abs=0.01) and abs(slope) > 0.02


def scoliometer(tissue, z, *, apart=110.0):
    """Return the angle of the line over both humps of the back, positive where the left is higher. [rad]"""
    x = tissue.midline(z) + 0.5 * apart * np.array([1.0, -1.0])
    left, right = tissue.skin(x, z)
    return np.arctan2(left - right, apart)


def test_the_hump_of_a_scoliosis_is_that_of_screening(anatomy):
    """A scoliometer reads 7 degrees over a Cobb angle of 20 (Bunnell, screening for scoliosis, from memory).

    The hump stands on the side of the convexity, here the left; a straight back has none.
    """
    curved = anatomy.with_pose(scoliosis=radians(20.0))
    apex = 0.5 * (curved.poses["T11"].translation[2] + curved.poses["T10"].translation[2])
    assert scoliometer(curved.tissue, apex) == pytest.approx(radians(7.0), abs=radians(1.5))
    mirrored = anatomy.with_pose(scoliosis=radians(-20.0))
    assert scoliometer(mirrored.tissue, apex) == pytest.approx(-scoliometer(curved.tissue, apex), abs=0.01)
    assert scoliometer(anatomy.tissue, apex) == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("spine", ["anatomy", "curved"])
def test_heights_meet_the_chart(spine, request):
    """Points of the height fields lie on the chart's own surfaces."""
    patient = request.getfixturevalue(spine)
    tissue, random = patient.tissue, np.random.default_rng(0)
    low, high = patient.canal.frame_at(np.array([60.0, 240.0]))[0][:, 2]
    for surface, column in ((0, 0), (1, 4)):
        rooms = []
        for z in random.uniform(low, high, 200):
            row = int(z - tissue.scale[0])
            x = tissue.guide[row, 0] + random.uniform(-5.0, 5.0)
            y = canal_height(tissue.heights, tissue.guide, tissue.scale, surface, x, z)
            rooms.append(patient.canal.contacts(np.array([[x, y, z]]))[0, column])
        assert np.percentile(np.abs(rooms), 90) < 0.25


def test_guide_is_the_axis(curved):
    heights, guide = canal_heights(curved.canal, np.arange(40.0, 260.0, 1.0))
    u, _, r = curved.canal.to_chart(
        np.column_stack([guide[:, CENTRE_X], guide[:, 2], np.arange(40.0, 260.0, 1.0)])
    )
    assert r.max() < 0.05 and np.abs(u - guide[:, 3]).max() < 0.1
    assert np.all(heights[..., 0] >= heights[..., 1] - 0.3)


def test_trunk_is_one_closed_body(anatomy, curved):
    for patient in (anatomy, curved):
        mesh = trimesh.Trimesh(*patient.tissue.trunk_mesh(), process=False)
        assert mesh.is_watertight and mesh.is_winding_consistent and mesh.body_count == 1
        assert 15e6 < mesh.volume < 45e6 and np.isfinite(mesh.vertices).all()
        bones = np.vstack([vertices[::50] for vertices, _ in patient.bone_meshes.values()])
        assert mesh.contains(bones).all()


def test_back_of_the_trunk_is_the_skin(anatomy):
    mesh = trimesh.Trimesh(*anatomy.tissue.trunk_mesh(), process=False)
    hits, _, _ = mesh.ray.intersects_location(
        [[0.0, 300.0, 120.0], [20.0, 300.0, 160.0]], [[0, -1, 0]] * 2, multiple_hits=False
    )
    for x, y, z in hits:
        assert y == pytest.approx(anatomy.tissue.skin(x, z), abs=1.0)


def test_closing_bridges_hollows_only():
    """Closed form: a parabola of apex radius R resting on two tips 2a apart hangs a2 / (2 R) below them."""
    z = np.arange(-100.0, 100.5, 0.5)
    tips = np.where(np.abs(np.abs(z) - 20.0) < 0.1, 50.0, 0.0)
    bridged = closing(z, tips, 100.0)
    assert bridged[np.abs(z) < 0.1][0] == pytest.approx(50.0 - 20.0**2 / 200.0, abs=0.02)
    assert np.all(bridged >= tips - 1e-9)
    hill = 50.0 - z**2 / 400.0
    inner = np.abs(z) < 60.0
    np.testing.assert_allclose(closing(z, hill, 100.0)[inner], hill[inner], atol=1e-9)


def test_row_of_tips_is_kept():
    tips = np.array([[0.0, 50.0, 0.0], [4.0, 50.0, 60.0], [0.0, 50.0, 120.0]])
    x = spinous_line(tips, np.arange(-50.0, 200.0, 1.0))
    assert x[110] == pytest.approx(4.0, abs=0.6) and x[0] == pytest.approx(0.0, abs=1e-9)


def test_a_column_without_bones_is_refused(anatomy):
    z = np.arange(0.0, 50.0)
    asked = {"front": 0.0 * z, "above": 1.0, "radius": 100.0}
    far = PackedBones(
        anatomy.packed.values, anatomy.packed.table + np.eye(27)[13] * 0.0, anatomy.packed.levels
    )
    line, slope = fascia_line(far, 0.0 * z + 0.0, z + 100.0, **asked)
    assert np.isfinite(line).all() and np.isfinite(slope).all()
    with pytest.raises(ValueError, match="packed must hold bones behind the canal"):
        fascia_line(far, 0.0 * z + 500.0, z, **asked)


def test_unknown_interspaces_are_refused(anatomy):
    with pytest.raises(ValueError, match="interspace must be one of"):
        anatomy.tissue.depth_to_epidural("T12")
    with pytest.raises(ValueError, match="interspace must be one of"):
        anatomy.tissue.depth_to_epidural("S1-S2")
    assert anatomy.tissue.depth_to_epidural("L5-S1") > 20.0


def test_stature_scales_the_back():
    from meshes.anatomy import build_anatomy

    small, ordinary = (build_anatomy(SpineParameters(stature_scale=s)) for s in (0.9, 1.0))
    z = 100.0
    inner = [a.tissue.fascia(0.0, z * s) - 1.0 for a, s in ((small, 0.9), (ordinary, 1.0))]
    assert inner[0] == pytest.approx(0.9 * inner[1], abs=1.0)
    assert skin_frame(small.tissue.profile, small.tissue.scale, 0.0, 90.0)[0] < ordinary.tissue.skin(
        0.0, 100.0
    )


def test_skin_slopes_where_the_cover_changes(anatomy):
    """Finite differences again, where fat thickens and over the buttocks."""
    tissue, e = anatomy.tissue, 1e-4
    for x, z in ((3.0, 60.0), (-20.0, 200.0), (35.0, -70.0), (-60.0, -40.0)):
        _, normal, _, _ = tissue.skin_frame(x, z)
        by_x = (tissue.skin(x + e, z) - tissue.skin(x - e, z)) / (2.0 * e)
        by_z = (tissue.skin(x, z + e) - tissue.skin(x, z - e)) / (2.0 * e)
        np.testing.assert_allclose(normal[[0, 2]] / normal[1], [-by_x, -by_z], atol=1e-5)


def test_fat_is_thinnest_in_the_loins(anatomy):
    """Every fitted interspace comes out as deep as expected; above the highest the fat goes on."""
    tissue, parameters = anatomy.tissue, anatomy.parameters
    for name in ("L4-L5", "L3-L4", "L2-L3", "L1-L2", "T12-L1", "T11-T12", "T10-T11"):
        assert tissue.depth_to_epidural(name) == pytest.approx(expected_depth(parameters, name), abs=0.15)
    fat = tissue.fat_on_row(np.array([20.0, 95.0, 180.0, 260.0, 300.0]))
    assert fat[1] < fat[0] - 2.0 and fat[1] < fat[2] - 2.0 and fat[3] == fat[4]


NARROW = [
    (FlavumThickening(name, 3.0), CentralStenosis(name, 4.0)) for name in ("T10-T11", "T12-L1", "L2-L3")
]


@pytest.mark.parametrize("finding", [one for pair in NARROW for one in pair], ids=str)
def test_a_narrow_canal_does_not_move_the_skin(anatomy, finding):
    """The wall comes forward by millimetres; the skin stays, for it is fitted over the sound canal."""
    narrow = anatomy.with_pose(findings=(finding,))
    z = anatomy.tissue.heights_of_profile
    moved = np.abs(narrow.tissue.skin(0.0, z) - anatomy.tissue.skin(0.0, z))
    assert moved.max() < 0.15
    assert (narrow.canal.wall[:, 0] - anatomy.canal.wall[:, 0]).min() < -1.5


def test_the_fit_passes_over_what_a_finding_has_moved():
    assert disturbed((Laminectomy("L3"),), INTERSPACES) == {"L2-L3", "L3-L4"}
    assert disturbed((CentralStenosis("L4-L5"),), INTERSPACES) == {"L4-L5"}
    assert disturbed((), INTERSPACES) == set()


@pytest.mark.parametrize("changes", [{}, {"flavum_scale": 1.6}, {"stature_scale": 1.1, "disc_loss": 0.4}])
def test_the_sound_wall_is_the_wall_where_nothing_is_wrong(changes):
    anatomy = build_anatomy(SpineParameters(**changes))
    for name in anatomy.canal.interspaces:
        point = sound_centre(anatomy.canal, anatomy.bones, anatomy.parameters, name)
        if name != "T6-T7":
            np.testing.assert_allclose(point, window_centre(anatomy.canal, name), atol=0.2)


def test_the_trunk_has_hips_waist_and_buttocks(anatomy):
    """Widths of the closed mesh; cross-sections of both buttocks stand behind the cleft between them."""
    vertices, _ = anatomy.tissue.trunk_mesh()

    def width(z):
        return np.ptp(vertices[np.abs(vertices[:, 2] - z) < 5.0, 0])

    hips, waist, chest = width(-85.0), width(95.0), width(240.0)
    assert hips > waist + 50.0 and chest > waist + 20.0
    assert hips == pytest.approx(2.0 * number("soft_tissue", "hip_half_width"), abs=4.0)
    low = anatomy.tissue.skin(np.array([0.0, 70.0]), -120.0)
    assert low[1] > low[0] + 8.0
    lumbar = anatomy.tissue.skin(0.0, np.array([-60.0, 85.0, 235.0]))
    assert lumbar[0] > lumbar[1] + 12.0 < lumbar[2]


def test_fat_widens_the_trunk(anatomy):
    heavy = anatomy.with_pose(body_mass_index=40.0)
    assert half_width(95.0, fat=heavy.tissue.fat, scale=1.0) > half_width(95.0, fat=6.0, scale=1.0) + 8.0
    assert half_width(95.0, fat=6.0, scale=1.1) == pytest.approx(1.1 * 140.0, abs=0.5)
