"""The whole scene of the ordinary adult: closed, in its materials, tools where they are put."""

import numpy as np
import pytest
import trimesh

from meshes.findings import PedicleScrews, VertebralCement
from meshes.instruments import contact_middles
from meshes.tables.loader import number
from meshes.units import radians
from trainer.physics.lead_properties import LeadProperties
from trainer.physics.needle import Needle
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_materials import attenuation, step
from trainer.physics.xray_picture import take_picture
from trainer.physics.xray_raster import StillAttenuation, path_attenuation
from trainer.physics.xray_scene import (
    bone_surfaces,
    implant_surfaces,
    lead_surfaces,
    pelvis_surfaces,
    rib_surfaces,
    scene_of,
    still_surfaces,
    tool_surfaces,
    trunk_surfaces,
)
from trainer.physics.xray_soft import gas_surfaces, psoas_surfaces, table_surfaces
from trainer.physics.xray_surfaces import Surfaces, join_surfaces

PROPERTIES = LeadProperties()


@pytest.fixture(scope="module")
def still(anatomy):
    return still_surfaces(anatomy)


@pytest.fixture(scope="module")
def nodes(anatomy):
    """A lead that lies straight behind the axis of the canal from L1 to the top of T8, tip last."""
    lowest, highest = anatomy.canal.station("L1"), anatomy.canal.station("T8", 8.0)
    u = np.linspace(lowest, highest, 90)
    return anatomy.canal.to_world(u, np.zeros(90), np.full(90, 6.0))


def test_every_surface_is_closed(still):
    """Trimesh: each edge is shared by two faces."""
    assert trimesh.Trimesh(still.vertices, still.faces, process=False).is_watertight


@pytest.mark.parametrize(("orbit_deg", "level"), [(0.0, "T7"), (50.0, "T11"), (90.0, "L4")])
def test_no_ray_leaves_with_a_streak(anatomy, still, orbit_deg, level):
    """What is added is never negative: bone and tools only darken, the trunk balances its lungs and gas."""
    carm = CArm(isocentre_at(anatomy, level), radians(orbit_deg), pixels=256)
    assert path_attenuation(bone_surfaces(anatomy), carm).min() > -1e-9
    assert path_attenuation(rib_surfaces(anatomy), carm).min() > -1e-9
    assert path_attenuation(trunk_surfaces(anatomy), carm).min() > -1e-9
    total = path_attenuation(still, carm)
    assert 0.0 <= total.max() < 14.0


def test_attenuation_of_soft_tissue_times_depth(anatomy):
    """Beside the spine at L3, no lung in the way: depth of the trunk there by trimesh, in a frontal view."""
    carm = CArm(isocentre_at(anatomy, "L3"), pixels=64)
    vertices, faces = anatomy.tissue.trunk_mesh()
    got = path_attenuation(Surfaces(vertices, faces, attenuation("soft_tissue")), carm)
    skin = trimesh.Trimesh(vertices, faces, process=False)
    for row, column in ((32, 10), (40, 55)):
        ray = carm.rays()[row, column]
        hits, _, _ = skin.ray.intersects_location([carm.source], [ray], multiple_hits=True)
        depth = np.ptp((hits - carm.source) @ ray)
        assert got[row, column] == pytest.approx(depth * attenuation("soft_tissue"), rel=1e-4)


def test_the_column_goes_on_above_the_modelled_bones(anatomy):
    """A lateral picture of T8 shows bone up to its upper edge, and tissue behind it."""
    carm = CArm(isocentre_at(anatomy, "T8"), radians(90.0), pixels=128)
    assert path_attenuation(bone_surfaces(anatomy), carm)[8:24].max(axis=1).min() > 0.3
    assert path_attenuation(trunk_surfaces(anatomy), carm)[0].max() > 1.0


def test_breath_sways_lungs_ribs_and_gas(anatomy):
    """Breathed in, lungs and gas lie lower and ribs rise aside; all stays closed."""
    scene = scene_of(anatomy)
    assert scene.breathed(0.0) is scene.breathing
    moved = scene.breathed(1.0).vertices - scene.breathing.vertices
    assert moved[:, 2].min() == pytest.approx(-number("xray", "breath.diaphragm"))
    assert 0.5 * number("xray", "breath.rib") < moved[:, 2].max() <= number("xray", "breath.rib")
    assert not moved[:, :2].any()
    carm = CArm(isocentre_at(anatomy, "T9"), pixels=128)
    whole = [join_surfaces([scene.still, scene.breathed(depth)]) for depth in (0.0, 0.5, 1.0)]
    pictures = [path_attenuation(surfaces, carm) for surfaces in whole]
    assert min(picture.min() for picture in pictures) >= 0.0
    assert np.abs(pictures[2] - pictures[0]).max() > 0.3


def test_gas_is_seeded_and_inside(anatomy):
    first, same, other = (gas_surfaces(anatomy, rng=seed) for seed in (1, 1, 2))
    assert np.array_equal(first.vertices, same.vertices)
    assert first.vertices.shape != other.vertices.shape or not np.array_equal(first.vertices, other.vertices)
    skin = trimesh.Trimesh(*anatomy.tissue.trunk_mesh(), process=False)
    for gas in (first, other):
        assert skin.contains(gas.vertices[::20]).all()


def test_psoas_casts_its_shadow(anatomy):
    """Closed form: the fat that it takes the place of, over its thickness; broadest beside L4."""
    carm = CArm(isocentre_at(anatomy, "L3"), pixels=128)
    shadow = path_attenuation(psoas_surfaces(anatomy), carm)
    largest = 2.0 * 1.2 * 21.0 * 1.3 * step("soft_tissue", "adipose")
    assert shadow.min() > -1e-9 and 0.4 * largest < shadow.max() < 1.6 * largest


def test_table_lies_under_the_patient(anatomy):
    table, (skin, _) = table_surfaces(anatomy), anatomy.tissue.trunk_mesh()
    assert table.vertices[:, 1].max() < skin[:, 1].min()
    frontal = CArm(isocentre_at(anatomy, "T12"), pixels=64)
    assert path_attenuation(table, frontal)[32, 32] == pytest.approx(
        3.0 * attenuation("carbon_fibre"), rel=1e-3
    )


def test_an_anchor_and_a_stylet_show():
    carm = CArm((0.0, 0.0, 0.0), image_size=40.0, pixels=65)
    anchor = path_attenuation(tool_surfaces(anchors=[((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))]), carm)
    wall = 2.0 * (number("lead", "anchor.radius") - number("lead", "anchor.bore_radius"))
    assert anchor[20:45, 32].mean() == pytest.approx(wall * step("marked_silicone"), rel=0.05)
    full, hollow = (
        path_attenuation(
            tool_surfaces(needles=[((0.0, 0.0, 10.0), (0.0, 0.0, 1.0), Needle(stylet_in=inside))]), carm
        )[32, 32]
        for inside in (True, False)
    )
    needle = Needle()
    stylet = 2.0 * (needle.bore_radius - number("needle", "stylet.clearance")) * step("steel")
    assert full - hollow == pytest.approx(stylet, rel=0.05)


def test_steps_nest():
    assert step("cortical_bone") + step("spongiosa", "cortical_bone") == pytest.approx(step("spongiosa"))
    assert step("steel") > step("cortical_bone") > step("spongiosa") > 0.0 > step("lung")


def test_ring_attenuates_twice_its_wall():
    """Closed form: a ray through the middle of a ring crosses its wall twice; plus bundle and stylet."""
    middle = contact_middles(PROPERTIES)[3]
    straight = np.stack([np.zeros(60), np.zeros(60), np.linspace(-100.0, 0.0, 60)], axis=-1)
    carm = CArm((0.0, 0.0, -middle), image_size=8.0, pixels=65)
    bare = path_attenuation(lead_surfaces(straight, PROPERTIES, stylet=False), carm)
    bundle = 2.0 * 0.4 * 0.18 * step("conductor", "polyurethane")
    rings = bare[20:45, 32].mean() - bundle
    # Sections are polygons of 16 and 8 sides, the smaller of the area of its circle.
    assert rings == pytest.approx(2.0 * 0.1 * step("platinum_iridium"), rel=0.03)
    with_stylet = path_attenuation(lead_surfaces(straight, PROPERTIES), carm)
    stylet = (with_stylet - bare)[20:45, 32].mean()
    assert stylet == pytest.approx(0.3 * step("steel", "polyurethane"), rel=0.06)


def test_contacts_fall_on_their_pixels(anatomy, nodes):
    carm = CArm(isocentre_at(anatomy, "T10"), 0.3, 0.1, pixels=1024)
    with_rings = path_attenuation(tool_surfaces(leads=[(nodes, PROPERTIES)], stylet=False), carm)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(nodes[::-1], axis=0), axis=1))])
    between = contact_middles(PROPERTIES)[:-1] + 3.5

    def dark(distances):
        points = np.stack([np.interp(distances, along, nodes[::-1, k]) for k in range(3)], axis=-1)
        columns, rows, _ = carm.project(points)
        return with_rings[rows.astype(int), columns.astype(int)]

    assert dark(contact_middles(PROPERTIES)).min() > 1.2
    assert dark(between).max() < 0.5
    assert dark(between).min() > 0.05


def test_needle_ends_at_its_point():
    direction = np.array([0.2, -0.8, 0.5]) / np.linalg.norm([0.2, -0.8, 0.5])
    point = np.array([5.0, 30.0, 40.0])
    carm = CArm(point, radians(90.0), pixels=512)
    picture = path_attenuation(tool_surfaces(needles=[(point, direction, Needle())]), carm)

    def at(distance):
        column, row, _ = carm.project(point - distance * direction)
        return picture[int(row), int(column)]

    assert at(10.0) > 0.2 and at(60.0) > 0.2
    assert at(-2.0) == pytest.approx(0.0, abs=1e-9)


def test_nothing_in_the_patient_is_no_tool():
    assert len(tool_surfaces().faces) == 0


def test_lead_shows_on_the_finished_picture(anatomy, still, nodes):
    """Contacts are darker than the lead between them, on AP and lateral alike, through the whole chain."""
    kept, tools = StillAttenuation(still), tool_surfaces(leads=[(nodes, PROPERTIES)])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(nodes[::-1], axis=0), axis=1))])
    for orbit_deg in (0.0, 90.0):
        carm = CArm(isocentre_at(anatomy, "T10"), radians(orbit_deg))
        picture = take_picture(kept, tools, carm=carm, rng=0).astype(float)

        def grey(distances, picture=picture, carm=carm):
            points = np.stack([np.interp(distances, along, nodes[::-1, k]) for k in range(3)], axis=-1)
            columns, rows, _ = carm.project(points)
            return picture[rows.astype(int), columns.astype(int)]

        middles = contact_middles(PROPERTIES)[2:]
        assert np.all(grey(middles) < grey(middles - 3.5) - 12.0)


def test_crests_show_beside_the_interspace_below_l4(anatomy):
    """Common practice for counting: on a frontal picture nothing of the wings stands above the body of L4."""
    carm = CArm(isocentre_at(anatomy, "L4"), pixels=128)
    dark = path_attenuation(pelvis_surfaces(anatomy), carm) > 0.02
    crest = carm.pixels - 1 - np.flatnonzero(dark.any(axis=1)[::-1])[-1]
    (_, row, _), (_, below, _) = (carm.project(anatomy.poses[level].translation) for level in ("L4", "L5"))
    assert row - 8.0 < crest < below
    assert dark[:, :50].any() and dark[:, 78:].any() and not dark[:, 60:68].any()


def test_implants_are_the_darkest_of_the_body(anatomy):
    """A screw of 6.5 mm titanium, seen on end from behind, darkens by its length; cement by its thickness."""
    findings = (PedicleScrews("L3", "L4"), VertebralCement("L1", 4.0))
    operated = anatomy.with_pose(findings=findings)
    carm = CArm(isocentre_at(anatomy, "L2"), pixels=256)
    added = path_attenuation(implant_surfaces(operated), carm)
    for place, least in ((operated.poses["L1"].translation, 15.0 * step("cement", "spongiosa")),):
        column, row, _ = carm.project(place)
        assert added[int(row), int(column)] > least
    assert added.max() > 20.0 * step("titanium") and added.min() > -1e-9
    assert len(implant_surfaces(anatomy).faces) == 0
    whole = still_surfaces(operated)
    assert len(whole.faces) == len(still_surfaces(anatomy).faces) + len(implant_surfaces(operated).faces)
    assert trimesh.Trimesh(whole.vertices, whole.faces, process=False).is_watertight


def test_a_coarse_anatomy_can_be_pictured():
    """While a slider of the shape moves, bones come on a grid coarser than the picture's own."""
    from meshes.anatomy import build_anatomy

    coarse = build_anatomy(pitch=1.4)
    seen = bone_surfaces(coarse)
    assert trimesh.Trimesh(seen.vertices, seen.faces, process=False).is_watertight
