"""Reading a picture: the pinhole both ways, squared poses against a search, symmetry, oblique view."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from meshes.anatomy import build_anatomy
from meshes.levels import COLUMN, LEVELS
from meshes.parameters import SpineParameters
from meshes.units import degrees, radians
from trainer.physics import picture_rays as rays
from trainer.physics.lamina_angle import lamina_angle, lamina_normal
from trainer.physics.picture_reading import read_endplates, read_lateral, read_oblique, read_spinous
from trainer.physics.squared_pose import squared_pose
from trainer.physics.ventral_line import read_ventral_line
from trainer.physics.xray_carm import CArm


@pytest.fixture(scope="module")
def scoliotic(anatomy):
    return anatomy.with_pose(scoliosis=radians(30.0))


def aimed(anatomy, level, view="frontal"):
    centre = anatomy.landmarks.levels[level].body_centre
    return CArm(centre, *squared_pose(anatomy, level, view=view))


angles = st.floats(-1.0, 1.0)
places = st.floats(0.0, 512.0)


@given(angles, angles, places, places, st.floats(-150.0, 150.0))
def test_picture_and_patient_are_each_others_inverse(orbit, tilt, column, row, depth):
    carm = CArm((5.0, -3.0, 120.0), orbit, tilt)
    plane = np.array(carm.isocentre) + depth * carm.axes[2]
    point = rays.patient_point(carm, [column, row], through=plane)
    assert rays.picture_point(carm, point) == pytest.approx([column, row], abs=1e-9)
    assert (point - plane) @ carm.axes[2] == pytest.approx(0.0, abs=1e-9)
    assert rays.beam_at(carm, point) == pytest.approx(rays.ray_through(carm, [column, row]), abs=1e-12)


def test_a_pixel_in_the_plane_of_the_isocentre_is_as_long_as_the_scale_says():
    carm = CArm((0.0, 0.0, 0.0), 0.3, 0.2)
    assert rays.millimetres_per_pixel(carm, carm.isocentre) == pytest.approx(1.0 / carm.pixels_per_mm)


def rim(anatomy, level, upper):
    """Return points (48, 3) round an endplate of a posed bone: a ring of the plate's own plane."""
    marks = anatomy.landmarks.levels[level]
    centre, normal = marks.upper_endplate if upper else marks.lower_endplate
    first = np.cross(normal, [1.0, 0.0, 0.0])
    first /= np.linalg.norm(first)
    turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)[:, None]
    return centre + 15.0 * (np.cos(turn) * first + np.sin(turn) * np.cross(normal, first))


def apparent_height(carm, ring):
    """Return the short axis of a projected ring. [pixels]"""
    places = rays.picture_point(carm, ring)
    return np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[1]


@pytest.mark.parametrize("level", ("T8", "T12", "L2", "L5"))
@pytest.mark.parametrize("name", ("anatomy", "scoliotic"))
def test_tilt_found_by_search_is_the_geometric_one(request, name, level):
    body = request.getfixturevalue(name)
    carm = aimed(body, level)

    def height(tilt, upper):
        return apparent_height(carm.with_changes(tilt=tilt), rim(body, level, upper))

    around = (carm.tilt - 0.2, carm.tilt + 0.2)
    found = [
        minimize_scalar(height, bounds=around, args=(upper,), method="bounded").x for upper in (True, False)
    ]
    assert degrees(np.mean(found)) == pytest.approx(degrees(carm.tilt), abs=0.5)


@pytest.mark.parametrize("level", ("T7", "L1", "L4"))
def test_orbit_and_tilt_found_together_are_the_geometric_ones(scoliotic, level):
    """Brute force on a grid of quarter degrees: both plates on edge, the process between the pedicles."""
    carm = aimed(scoliotic, level)
    rings = [rim(scoliotic, level, upper) for upper in (True, False)]
    steps = radians(np.arange(-1.5, 1.51, 0.25) + 0.07)

    def cost(turn, lean):
        pose = carm.with_changes(orbit=carm.orbit + turn, tilt=carm.tilt + lean)
        plates = sum(apparent_height(pose, ring) ** 2 for ring in rings)
        return plates + (20.0 * read_spinous(scoliotic, level, carm=pose).offset) ** 2

    turn, lean = min(product(steps, steps), key=lambda pair: cost(*pair))
    assert abs(degrees(turn)) <= 0.5
    assert abs(degrees(lean)) <= 0.5


@pytest.mark.parametrize("level", LEVELS)
def test_the_squared_pose_reads_as_squared(scoliotic, level):
    plates = read_endplates(scoliotic, level, carm=aimed(scoliotic, level))
    assert abs(degrees(plates.mean)) < 0.2
    assert plates.squared
    assert read_spinous(scoliotic, level, carm=aimed(scoliotic, level)).central
    assert read_lateral(scoliotic, level, carm=aimed(scoliotic, level, "lateral")).true


def test_tilting_reads_back_as_that_angle(anatomy):
    carm = aimed(anatomy, "L1")
    square = read_endplates(anatomy, "L1", carm=carm)
    tilted = read_endplates(anatomy, "L1", carm=carm.with_changes(tilt=carm.tilt + radians(7.0)))
    assert degrees(tilted.mean - square.mean) == pytest.approx(7.0, abs=0.05)
    assert not tilted.squared


def test_the_sacrum_has_one_plate_and_no_pedicles(anatomy):
    carm = aimed(anatomy, "S1")
    plates = read_endplates(anatomy, "S1", carm=carm)
    assert np.isnan(plates.lower)
    assert plates.mean == plates.upper
    assert np.isnan(read_spinous(anatomy, "S1", carm=carm).share)


def test_a_turned_picture_moves_the_process_toward_the_detectors_side(anatomy):
    carm = aimed(anatomy, "T12")
    turned = read_spinous(anatomy, "T12", carm=carm.with_changes(orbit=radians(10.0)))
    other = read_spinous(anatomy, "T12", carm=carm.with_changes(orbit=radians(-10.0)))
    # The process lies behind the pedicles: seen from the right (+) it moves toward the left pedicle.
    assert turned.share == pytest.approx(-other.share, abs=1e-3)
    assert turned.share > 0.1
    assert not turned.central


def test_pedicle_distance_on_the_picture_is_that_of_the_patient(anatomy):
    left, right = anatomy.landmarks.levels["L2"].pedicle_centres
    read = read_spinous(anatomy, "L2", carm=aimed(anatomy, "L2"))
    # The pedicles lie up to 2 cm nearer to the detector than the body's middle that gives the scale.
    assert read.pedicle_distance == pytest.approx(np.linalg.norm(left - right), rel=0.04)


def test_a_turned_lateral_is_no_true_lateral(anatomy):
    carm = aimed(anatomy, "T10", "lateral")
    turned = read_lateral(anatomy, "T10", carm=carm.with_changes(orbit=carm.orbit + radians(12.0)))
    left, right = anatomy.landmarks.levels["T10"].pedicle_centres
    assert turned.pedicles == pytest.approx(np.linalg.norm(left - right) * np.sin(radians(12.0)), abs=0.8)
    assert not turned.true
    leaning = read_lateral(anatomy, "T10", carm=carm.with_changes(tilt=carm.tilt + radians(12.0)))
    assert min(leaning.endplates) > 3.0
    assert not leaning.true


def test_ribs_and_crests_are_told_where_the_picture_shows_them(anatomy):
    chest = read_lateral(anatomy, "T9", carm=aimed(anatomy, "T9", "lateral"))
    assert chest.ribs < 1.5
    assert np.isnan(chest.crests)
    low = read_lateral(anatomy, "L4", carm=aimed(anatomy, "L4", "lateral"))
    assert np.isfinite(low.crests)


@pytest.mark.parametrize("level", COLUMN)
def test_a_symmetric_body_has_equal_laminae(anatomy, level):
    left, right = (lamina_angle(anatomy, level, side=side) for side in ("left", "right"))
    assert left == pytest.approx(-right, abs=1e-6)
    assert 25.0 < degrees(left) < 75.0


@pytest.mark.parametrize("tilt_deg", (-15.0, 0.0, 20.0))
def test_at_the_lamina_angle_the_beam_runs_along_the_lamina(scoliotic, tilt_deg):
    for side in ("left", "right"):
        orbit = lamina_angle(scoliotic, "L2", side=side, tilt=radians(tilt_deg))
        carm = CArm((0.0, 0.0, 0.0), orbit, radians(tilt_deg))
        assert carm.axes[2] @ lamina_normal(scoliotic, "L2", side=side) == pytest.approx(0.0, abs=1e-12)


def test_the_oblique_view_is_compared_with_the_lamina(anatomy):
    wanted = lamina_angle(anatomy, "T12", side="left")
    read = read_oblique(anatomy, "T12", carm=CArm((0.0, 0.0, 180.0), wanted + radians(8.0)), side="left")
    assert degrees(read.difference) == pytest.approx(8.0)
    assert not read.fits
    mirrored = read_oblique(
        anatomy, "T12", carm=CArm((0.0, 0.0, 180.0), -wanted - radians(3.0)), side="right"
    )
    assert degrees(mirrored.difference) == pytest.approx(3.0, abs=1e-4)
    assert mirrored.fits


def test_a_removed_lamina_has_no_angle():
    from meshes.findings import Laminectomy

    body = build_anatomy(SpineParameters(findings=(Laminectomy("L3"),)), pitch=1.4)
    with pytest.raises(ValueError, match="left lamina"):
        lamina_angle(body, "L3", side="left")
    assert lamina_angle(body, "L2", side="left") > 0.0
    # Pedicles stay, the process is gone: the frame of the bone stands for it.
    assert degrees(squared_pose(body, "L3")[0]) == pytest.approx(0.0, abs=0.5)


def test_how_far_past_the_line_follows_the_tip(anatomy):
    edge = anatomy.landmarks.ventral_interlaminar_line["left"]
    middle = edge[len(edge) // 2]
    carm = CArm(middle, lamina_angle(anatomy, "T12", side="left"))
    at = read_ventral_line(anatomy, middle, carm=carm, side="left")
    assert at.past == pytest.approx(0.0, abs=1e-9)
    # Straight to the left of the picture is back, straight to the right front.
    for forward in (-4.0, 1.5, 6.0):
        read = read_ventral_line(anatomy, middle + forward * carm.axes[0], carm=carm, side="left")
        assert np.sign(read.past) == np.sign(forward)
        assert 0.5 * abs(forward) < abs(read.past) <= abs(forward) + 1e-6
    deep = read_ventral_line(anatomy, middle + 6.0 * carm.axes[0], carm=carm, side="left")
    behind = read_ventral_line(anatomy, middle - 4.0 * carm.axes[0], carm=carm, side="left")
    assert (behind.place, deep.place) == ("behind the line", "beyond the line")


def test_both_sides_see_a_midline_tip_alike(anatomy):
    tip = anatomy.canal.to_world(anatomy.canal.interspace("T12-L1").middle, 0.0, 8.0)
    angle = lamina_angle(anatomy, "T12", side="left")
    left, right = (
        read_ventral_line(anatomy, tip, carm=CArm(tip, sign * angle), side=side).past
        for side, sign in (("left", 1.0), ("right", -1.0))
    )
    assert left == pytest.approx(right, abs=1e-6)


def test_what_cannot_be_read_is_refused(anatomy):
    carm = CArm((0.0, 0.0, 0.0))
    with pytest.raises(ValueError, match="level must be one of"):
        read_endplates(anatomy, "C3", carm=carm)
    with pytest.raises(ValueError, match="view must be one of"):
        squared_pose(anatomy, "L2", view="oblique")
    with pytest.raises(ValueError, match="side must be left or right"):
        read_oblique(anatomy, "L2", carm=carm, side="up")
    with pytest.raises(ValueError, match="frontal picture"):
        read_ventral_line(anatomy, (0.0, 0.0, 0.0), carm=carm, side="left")
    with pytest.raises(ValueError, match="tilt less"):
        lamina_angle(anatomy, "L5", side="left", tilt=radians(89.0))
