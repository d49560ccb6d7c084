"""Where things appear: sides, head, magnification and the sense of both rotations."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from meshes.frames import Pose, about_x
from meshes.units import radians
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_marks import scale_bar, side_names, view_name
from trainer.physics.xray_raster import path_attenuation
from trainer.physics.xray_surfaces import Surfaces

ISOCENTRE = (4.0, 30.0, 120.0)
LEFT, BACK, HEAD = np.eye(3) * 35.0


def shadow(offset, *, orbit_deg=0.0, tilt_deg=0.0):
    """Return (column, row) of a small ball's shadow from the middle of the picture, in pixels."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=4.0)
    surfaces = Surfaces(ball.vertices + ISOCENTRE + offset, ball.faces, 1.0)
    carm = CArm(ISOCENTRE, radians(orbit_deg), radians(tilt_deg), pixels=128)
    picture = path_attenuation(surfaces, carm)
    rows, columns = np.indices(picture.shape) + 0.5 - 64.0
    return (picture * columns).sum() / picture.sum(), (picture * rows).sum() / picture.sum()


def test_frontal_picture_is_seen_from_behind_with_the_head_on_top():
    column, row = shadow(LEFT)
    assert column < -15.0 and abs(row) < 0.1
    column, row = shadow(HEAD)
    assert row < -15.0 and abs(column) < 0.1


def test_lateral_picture_has_the_back_on_the_left():
    assert shadow(BACK, orbit_deg=90.0)[0] < -15.0
    assert shadow(BACK, orbit_deg=-90.0)[0] > 15.0
    assert shadow(HEAD, orbit_deg=90.0)[1] < -15.0


def test_positive_orbit_moves_the_detector_to_the_patients_right():
    carm = CArm(ISOCENTRE, radians(50.0))
    detector = carm.source + carm.source_to_detector * carm.axes[2]
    assert detector[0] < ISOCENTRE[0] and detector[1] > ISOCENTRE[1]
    # The nearer to the detector, the smaller: what lies on the right of the patient shrinks on a lateral.
    lateral = CArm(ISOCENTRE, radians(90.0))
    assert lateral.project(ISOCENTRE - LEFT)[2] > lateral.project(ISOCENTRE + LEFT)[2]


def test_positive_tilt_moves_the_detector_to_the_head():
    carm = CArm(ISOCENTRE, tilt=radians(20.0))
    assert carm.axes[2] @ HEAD > 0.0
    # Then what lies behind slides down the picture and spinous processes drop against the bodies.
    assert shadow(BACK, tilt_deg=20.0)[1] > 5.0
    assert shadow(BACK, tilt_deg=-20.0)[1] < -5.0


@given(orbit=st.floats(-3.1, 3.1), tilt=st.floats(-1.0, 1.0))
def test_axes_are_a_right_handed_rotation(orbit, tilt):
    axes = CArm((0.0, 0.0, 0.0), orbit, tilt).axes
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[1, 2] > 0.0


@given(orbit=st.floats(-3.14, 3.14))
def test_the_side_named_at_an_edge_is_where_that_side_falls(orbit):
    carm = CArm(ISOCENTRE, orbit)
    towards = {"L": LEFT, "R": -LEFT, "Back": BACK, "Front": -BACK}
    here, there = side_names(carm)
    assert here and there
    for names, sign in ((here, -1.0), (there, 1.0)):
        for name in names.split():
            assert sign * (carm.project(ISOCENTRE + towards[name])[0] - carm.pixels / 2) > 0.0


def test_names_of_sides_and_views():
    def named(orbit_deg, tilt_deg=0.0):
        carm = CArm(ISOCENTRE, radians(orbit_deg), radians(tilt_deg))
        return *side_names(carm), view_name(carm)

    assert named(0.0) == ("L", "R", "AP")
    assert named(90.0) == ("Back", "Front", "Lateral")
    assert named(-90.0) == ("Front", "Back", "Lateral")
    assert named(50.0, 10.0) == ("L Back", "R Front", "Orbit 50°, 10° to the head")
    assert named(0.0, -15.0) == ("L", "R", "AP, 15° to the feet")


def test_magnification_is_the_ratio_of_distances():
    """Similar triangles: a length in a plane across the beam grows by source-detector over source-plane."""
    carm = CArm(ISOCENTRE, source_to_detector=1000.0, source_to_isocentre=640.0, image_size=256.0, pixels=256)
    ends = np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, 0.0]]) + ISOCENTRE
    for nearer in (-60.0, 0.0, 80.0):
        columns, _, depth = carm.project(ends + np.array([0.0, nearer, 0.0]))
        assert columns[0] - columns[1] == pytest.approx(20.0 * 1000.0 / (640.0 + nearer), rel=1e-12)
        assert depth == pytest.approx(640.0 + nearer)
    assert carm.magnification == pytest.approx(1.5625)


def test_scale_bar_is_as_long_as_it_says():
    carm = CArm(ISOCENTRE)
    length, pixels = scale_bar(carm)
    columns = carm.project(np.array([[0.0, 0.0, 0.0], [-length, 0.0, 0.0]]) + ISOCENTRE)[0]
    assert columns[1] - columns[0] == pytest.approx(pixels, rel=1e-12)


def test_rays_meet_what_they_point_at():
    carm = CArm(ISOCENTRE, 0.7, -0.3, pixels=64)
    points = carm.source + 600.0 * carm.rays()
    columns, rows, _ = carm.project(points)
    np.testing.assert_allclose(columns, np.arange(64)[None, :] + np.full((64, 1), 0.5), atol=1e-9)
    np.testing.assert_allclose(rows, np.arange(64)[:, None] + np.full((1, 64), 0.5), atol=1e-9)


def test_equal_carms_are_one_key():
    assert {CArm(np.array(ISOCENTRE)): 1}[CArm(list(ISOCENTRE))] == 1
    assert CArm(ISOCENTRE).with_changes(orbit=0.1) != CArm(ISOCENTRE)


def one_bone():
    shape = SimpleNamespace(posterior_wall=16.0, canal_depth=18.0)
    bones = {level: SimpleNamespace(shape=shape) for level in ("T12", "L1")}
    poses = {
        "T12": Pose(about_x(0.5 * np.pi), np.array([1.0, 2.0, 3.0])),
        "L1": Pose(np.eye(3), np.array([0.0, 0.0, -30.0])),
    }
    return SimpleNamespace(bones=bones, poses=poses, parameters=SimpleNamespace(stature_scale=1.1))


def test_isocentre_is_the_middle_of_the_canal():
    # y of the bone turned onto z of the patient; lengths grow with stature.
    np.testing.assert_allclose(isocentre_at(one_bone(), "t12"), [1.0, 2.0, 3.0 + 1.1 * 25.0])
    between = isocentre_at(one_bone(), "T12–L1")
    both = [isocentre_at(one_bone(), level) for level in ("T12", "L1")]
    np.testing.assert_allclose(between, np.mean(both, axis=0))


def test_isocentre_refuses_an_unknown_level():
    with pytest.raises(ValueError, match=r"level must be one of .*, got 'C4'"):
        isocentre_at(one_bone(), "C4")
    with pytest.raises(ValueError, match="interspace must be one of"):
        isocentre_at(one_bone(), "T12-L2")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"isocentre": (1.0, 2.0)}, "isocentre must be three finite numbers"),
        ({"isocentre": (1.0, 2.0, np.nan)}, "isocentre must be three finite numbers"),
        ({"orbit": radians(181.0)}, "orbit_deg must lie between -180 and 180, got 181"),
        ({"tilt": radians(-61.0)}, "tilt_deg must lie between -60 and 60, got -61"),
        ({"orbit": np.nan}, "orbit_deg must lie between"),
        ({"pixels": 8}, "pixels must be a whole number from 16 to 4096, got 8"),
        ({"pixels": 100.5}, "pixels must be a whole number"),
        ({"image_size": 0.0}, "image_size must be positive"),
        ({"source_to_isocentre": 1200.0}, "source_to_isocentre must lie between 0 and source_to_detector"),
    ],
)
def test_guards_refuse(wrong, words):
    with pytest.raises(ValueError, match=words):
        CArm(**({"isocentre": ISOCENTRE} | wrong))


def test_guards_let_the_good_neighbour_through():
    carm = CArm(ISOCENTRE, radians(180.0), radians(-60.0), 1.0, 16, 1000.0, 999.0)
    assert carm.pixels == 16
