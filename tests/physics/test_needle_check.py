"""The needle's numbers on a back whose answers are known, and on the ordinary adult."""

import math
import re

import numpy as np
import pytest
from flat_back import DURA, ENTRY, FASCIA, FLAVUM, WALL_RADIUS, flat_anatomy, packed_field

from meshes.distance import nearest_bone
from meshes.soft_tissue import window_centre
from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle, NeedleAim, axis_from_skin
from trainer.physics.needle_axis import first_contact, least_clearance
from trainer.physics.needle_check import check_needle

RADIUS = 1.05


def ball(radius):
    field = lambda x, y, z: np.sqrt(x * x + y * y + z * z) - radius  # noqa: E731
    return packed_field(field, (-16, -16, -16), (16, 16, 16), 0.7)


@pytest.mark.parametrize("approach_deg", [25.0, 30.0, 45.0, 60.0, 90.0])
def test_depth_over_sine(approach_deg):
    """Closed form: a layer `depth` below a flat skin is met after depth / sin(angle) of needle."""
    approach, s = radians(approach_deg), math.sin(radians(approach_deg))
    check = check_needle(flat_anatomy(), NeedleAim("T12-L1", 0.0, -20.0, approach, 0.0), Needle(152.0))
    assert check.to_fascia == pytest.approx(-FASCIA / s, abs=1e-6)
    assert check.to_flavum == pytest.approx((-ENTRY - FLAVUM) / s, abs=1e-6)
    assert check.to_epidural == pytest.approx(-ENTRY / s, abs=1e-6)
    assert check.to_dura == pytest.approx(-DURA / s, abs=1e-6)
    assert check.safe_travel == pytest.approx((ENTRY - DURA) / s, abs=1e-6)
    assert check.depth_below_skin == pytest.approx(-ENTRY, abs=1e-6)
    assert check.angle_to_skin == pytest.approx(approach, abs=1e-7)
    assert check.angle_to_canal == pytest.approx(approach, abs=1e-7)
    assert check.angle_to_canal_sagittal == pytest.approx(approach, abs=1e-7)
    assert check.lateral_offset == pytest.approx(0.0, abs=1e-9)
    assert check.dorsal_gap == pytest.approx(ENTRY - DURA, abs=1e-6)


@pytest.mark.parametrize("side, sign", [("left", 1.0), ("right", -1.0)])
def test_direction_of_a_paramedian_needle(side, sign):
    tissue = flat_anatomy().tissue
    a, b = radians(40.0), radians(20.0)
    line = axis_from_skin(tissue.profile, tissue.scale, 10.0 * sign, -80.0, sign, a, b)
    expected = [-sign * math.cos(a) * math.sin(b), -math.sin(a), math.cos(a) * math.cos(b)]
    np.testing.assert_allclose(line[3:6], expected, atol=1e-12)


def test_offset_and_crossing_on_a_round_canal():
    """Closed form: where the axis pierces a cylinder, and where its line meets the plane x = 0."""
    a, b = radians(40.0), radians(12.0)
    check = check_needle(flat_anatomy(), NeedleAim("T12-L1", 14.0, -50.0, a, b), Needle(152.0))
    dx, dy, dz = check.direction
    y0 = -(ENTRY - WALL_RADIUS)
    qa, qb, qc = dx * dx + dy * dy, 14.0 * dx + y0 * dy, 14.0**2 + y0**2 - WALL_RADIUS**2
    t = (-qb - math.sqrt(qb * qb - qa * qc)) / qa
    assert check.to_epidural == pytest.approx(t, abs=1e-6)
    assert check.lateral_offset == pytest.approx(14.0 + t * dx, abs=1e-6)
    assert check.crossing_travel == pytest.approx((14.0 + t * dx) / -dx * dz, abs=1e-6)
    assert check.station == pytest.approx(150.0 - 50.0 + t * dz, abs=1e-6)


def test_a_needle_beside_the_canal_misses_it():
    check = check_needle(flat_anatomy(), NeedleAim("T12-L1", 60.0, -50.0, radians(40.0), radians(-30.0)))
    assert check.to_epidural is None and check.to_dura is None and check.safe_travel is None
    assert check.lateral_offset is None and check.angle_to_canal is None and not check.reaches
    assert check.window_height is None and check.entered is None and check.depth_below_skin is None
    assert check.verdict == "fails" and "misses the spinal canal" in check.reasons[0].text
    with pytest.raises(ValueError, match="must enter the epidural space"):
        check.mouth(2.0)


def test_a_needle_too_low_misses_the_interspace():
    """At 45 degrees the epidural entry lies 40 mm further up; the gap begins at z = -10, counted from -12."""
    assert check_needle(flat_anatomy(), NeedleAim("T12-L1", 0.0, -51.9, radians(45.0), 0.0)).reaches
    lower = check_needle(flat_anatomy(), NeedleAim("T12-L1", 0.0, -58.0, radians(45.0), 0.0))
    assert lower.entered is None and lower.verdict == "fails" and not lower.reaches
    text = lower.reasons[0].text
    assert "enters the canal at no interspace, not at T12-L1" in text
    assert re.search("enter [67] mm further up", text) and re.search("[45] degrees flatter", text)


def test_clearance_and_contact_against_a_ball():
    """Closed form: a line passes a ball of radius R at h - R - r, and touches it where the capsule does."""
    packed = ball(8.0)
    bones, random = (packed.values, packed.table), np.random.default_rng(0)
    for _ in range(40):
        d = random.normal(size=3)
        d /= np.linalg.norm(d)
        u = np.cross(d, random.normal(size=3))
        h = random.uniform(0.0, 12.0)
        axis = (*(h * u / np.linalg.norm(u) - 30.0 * d), *d)
        clearance, at, _ = least_clearance(bones, axis, 60.0, RADIUS)
        if h > 4.0:
            assert clearance == pytest.approx(h - 8.0 - RADIUS, abs=0.03)
            assert at == pytest.approx(30.0, abs=1.0)
        touch, bone = first_contact(bones, axis, 60.0, RADIUS)
        if h < 8.0 + RADIUS - 0.5:
            assert (
                touch == pytest.approx(30.0 - math.sqrt((8.0 + RADIUS) ** 2 - h * h), abs=0.05) and bone == 0
            )
        elif h > 8.0 + RADIUS + 0.05:
            assert math.isnan(touch) and bone == -1


def test_clearance_beside_a_cylinder_and_along_a_plane():
    """Closed forms: distance of two lines less both radii; height over a plane by the sine of the fall."""
    cylinder = packed_field(
        lambda x, y, z: np.hypot(y, z) - 6.0 + 0.0 * x, (-30, -14, -14), (30, 14, 14), 0.7
    )
    plane = packed_field(lambda x, y, z: y + 0.0 * x + 0.0 * z, (-20, -6, -20), (20, 12, 30), 0.7)
    random = np.random.default_rng(7)
    for _ in range(20):
        turn, height = random.uniform(-0.6, 0.6), random.uniform(7.5, 9.5)
        # In the plane y = height, turned out of the z axis: the cylinder's line is x.
        axis = (-20.0 * math.sin(turn), height, -20.0 * math.cos(turn), math.sin(turn), 0.0, math.cos(turn))
        clearance, at, _ = least_clearance((cylinder.values, cylinder.table), axis, 40.0, RADIUS)
        assert clearance == pytest.approx(height - 6.0 - RADIUS, abs=0.03)
        assert at == pytest.approx(20.0, abs=1.5)
        fall = random.uniform(0.2, 0.7)
        axis = (0.0, 6.0, -10.0, 0.0, -math.sin(fall), math.cos(fall))
        touch, bone = first_contact((plane.values, plane.table), axis, 40.0, RADIUS)
        assert touch == pytest.approx((6.0 - RADIUS) / math.sin(fall), abs=0.03) and bone == 0


def test_certified_minimum_is_the_dense_one(anatomy):
    """Against samples every 0.05 mm, where the field is a distance (below 4.5 mm)."""
    bones, tissue, random = (
        (anatomy.packed.values, anatomy.packed.table),
        anatomy.tissue,
        np.random.default_rng(2),
    )
    z, compared = window_centre(anatomy.canal, "T12-L1")[2], 0
    for _ in range(30):
        place = (
            random.uniform(5, 30),
            z - random.uniform(20, 70),
            1.0,
            random.uniform(0.4, 1.0),
            random.uniform(0, 0.5),
        )
        axis = axis_from_skin(tissue.profile, tissue.scale, *place)[:6]
        least = least_clearance(bones, axis, 60.0, RADIUS)[0]
        points = np.array(axis[:3]) + np.arange(0.0, 60.0, 0.05)[:, None] * np.array(axis[3:])
        dense = anatomy.packed.nearest(points).min() - RADIUS
        if dense < 4.0:
            compared += 1
            assert dense - 0.06 <= least <= dense + 0.021
    assert compared >= 10


def test_profile_mouth_and_places(anatomy):
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(15.0), target_offset=3.0
    )
    check = check_needle(anatomy, aim, Needle())
    assert check.reaches and check.entered == "T12-L1" and check.window_bones == ("T12", "L1")
    assert np.linalg.norm(check.direction) == pytest.approx(1.0, abs=1e-12)
    assert check.clearance_profile.min() >= check.least_clearance - 0.05
    x, y, z = check.entry + check.least_clearance_at * check.direction
    room = nearest_bone(anatomy.packed.values, anatomy.packed.table, x, y, z, True)[0]
    assert room - check.needle.outer_radius == pytest.approx(check.least_clearance, abs=1e-9)
    point, direction = check.mouth(2.0)
    u, theta, r = anatomy.canal.to_chart(point)
    _, _, dura, wall = anatomy.canal.radii(u, theta)
    assert dura < r < wall and direction @ check.direction == pytest.approx(1.0)
    u, theta, r = anatomy.canal.to_chart(check.epidural_entry)
    assert r == pytest.approx(anatomy.canal.radii(u, theta)[3], abs=1e-5)
    assert 0.0 < check.to_fascia < check.to_flavum < check.to_epidural < check.to_dura
    assert 0.4 < check.window_height_fraction < 0.6 and 12.0 < check.window_height < 25.0
    assert 0.5 < check.window_width_fraction < 0.9 and 12.0 < check.window_width < 25.0


def test_layers_lie_on_the_chart(anatomy):
    """The flavum's back lies its thickness behind the wall; the dura where the chart says."""
    for x, medial in ((14.0, 15.0), (8.0, 6.0), (0.0, 0.0)):
        z = window_centre(anatomy.canal, "T12-L1")[2] - 50.0
        check = check_needle(anatomy, NeedleAim("T12-L1", x, z, radians(38.0), radians(medial)))
        points = check.entry + np.array([[check.to_flavum], [check.to_dura]]) * check.direction
        rooms = anatomy.canal.contacts(points)
        thickness = np.interp(rooms[0, 8], anatomy.canal.u, anatomy.canal.flavum_thickness)
        assert rooms[0, 0] == pytest.approx(-thickness, abs=1e-5)
        assert rooms[1, 4] == pytest.approx(0.0, abs=1e-5)


def test_mirror_needles_are_equal(anatomy):
    left = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35), medial=radians(16), target_offset=2.5
    )
    right = left.with_changes(entry_x=-left.entry_x, side="right")
    a, b = check_needle(anatomy, left), check_needle(anatomy, right)
    for name in ("to_fascia", "to_flavum", "to_epidural", "to_dura", "least_clearance", "angle_to_canal"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), abs=2e-3), name
    assert a.lateral_offset == pytest.approx(-b.lateral_offset, abs=1e-3)
    assert a.window_width_fraction == pytest.approx(1.0 - b.window_width_fraction, abs=0.02)


def test_another_interspace_may_be_wanted(anatomy):
    aim = aim_at_target(
        anatomy, "L1-L2", side="left", approach=radians(35), medial=radians(15), target_offset=3.0
    )
    assert check_needle(anatomy, aim).interspace == "L1-L2"
    other = check_needle(anatomy, aim, interspace="T12–L1")
    assert other.interspace == "T12-L1" and not other.reaches
    with pytest.raises(ValueError, match="interspace must be one of"):
        check_needle(anatomy, aim, interspace="T12")


@pytest.mark.parametrize("seed", range(10))
def test_whatever_the_back_the_numbers_hold(anatomy, seed):
    """Layers in order, contact and clearance of one mind, entry on the wall: random postures, needles."""
    random = np.random.default_rng(seed)
    patient = anatomy.with_pose(
        lumbar_lordosis=radians(random.uniform(20.0, 75.0)),
        thoracic_kyphosis=radians(random.uniform(10.0, 50.0)),
        scoliosis=radians(random.uniform(-35.0, 35.0)),
        body_mass_index=random.uniform(18.0, 45.0),
    )
    centre = window_centre(patient.canal, "T12-L1")[2]
    for _ in range(20):
        z, x = centre - random.uniform(10.0, 100.0), random.uniform(-30.0, 30.0)
        angles = radians(random.uniform(20.0, 85.0)), radians(random.uniform(-10.0, 35.0))
        holds_together(patient, NeedleAim("T12-L1", float(patient.tissue.midline(z)) + x, z, *angles))


def holds_together(patient, aim):
    """Assert what must hold between the numbers of any needle."""
    check = check_needle(patient, aim)
    assert check.entry[1] == pytest.approx(patient.tissue.skin(aim.entry_x, aim.entry_z), abs=1e-9)
    assert check.angle_to_skin == pytest.approx(aim.approach, abs=1e-7)
    least = check.least_clearance
    assert (check.first_bone is not None) == (least < 0.0) or abs(least) < 0.05
    assert check.verdict in ("passes", "fails") and check.reasons
    if check.first_bone is not None:
        assert check.first_bone in patient.packed.levels and check.first_bone_part
    if check.to_epidural is not None:
        assert 0.0 < check.to_fascia < check.to_epidural and check.to_flavum <= check.to_epidural
        u, theta, r = patient.canal.to_chart(check.epidural_entry)
        assert r == pytest.approx(patient.canal.radii(u, theta)[3], abs=1e-4)
        assert check.to_dura is None or check.to_dura > check.to_epidural


def test_a_shaft_that_all_but_grazes_a_long_bone_is_followed_to_its_end():
    """A slab 0.003 mm beside the shaft for 60 mm, then a step of 2 mm into its way."""
    field = lambda x, y, z: np.abs(y + 26.0) - np.where(z > 20.0, 8.0, 6.0) + 0.0 * x  # noqa: E731
    packed = packed_field(field, (-10, -60, -60), (10, 0, 60), 0.5)
    axis = (0.0, -20.0 + RADIUS + 0.003, -40.0, 0.0, 0.0, 1.0)
    distance, bone = first_contact((packed.values, packed.table), axis, 95.0, RADIUS)
    assert bone == 0 and distance == pytest.approx(60.0, abs=1.0)
