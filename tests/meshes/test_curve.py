"""Poses: Cobb angles are those asked for, whatever else moves."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshes.curve import (
    coronal_angles,
    disc_wedges,
    endplate_chord,
    endplate_normal,
    level_poses,
    middle_height,
    sacral_slope,
    wedge,
)
from meshes.findings import WedgeFracture
from meshes.frames import Pose, about_x
from meshes.levels import COLUMN, LEVELS
from meshes.parameters import SpineParameters
from meshes.tables import loader
from meshes.units import degrees, radians

LORDOSIS, KYPHOSIS, SCOLIOSIS = st.floats(10.0, 80.0), st.floats(5.0, 60.0), st.floats(-45.0, 45.0)


def spine(lordosis=50.0, kyphosis=25.0, scoliosis=0.0, **others):
    return SpineParameters(
        lumbar_lordosis=radians(lordosis),
        thoracic_kyphosis=radians(kyphosis),
        scoliosis=radians(scoliosis),
        **others,
    )


def sagittal(poses, level, *, upper):
    """Return how far an endplate's normal leans forward in the sagittal plane. [deg]"""
    _, y, z = endplate_normal(poses[level], level, upper=upper)
    return degrees(float(np.arctan2(-y, z)))


def coronal(poses, level, *, upper):
    x, _, z = endplate_normal(poses[level], level, upper=upper)
    return degrees(float(np.arctan2(x, z)))


def cobb(poses, *, top="T8", bottom="L2"):
    return coronal(poses, bottom, upper=False) - coronal(poses, top, upper=True)


@pytest.mark.parametrize(("lordosis", "kyphosis"), [(50.0, 25.0), (30.0, 40.0), (70.0, 15.0)])
def test_sagittal_cobb_angles_are_exact(lordosis, kyphosis):
    poses = level_poses(spine(lordosis, kyphosis))
    assert sagittal(poses, "S1", upper=True) - sagittal(poses, "L1", upper=True) == pytest.approx(lordosis)
    assert sagittal(poses, "T6", upper=True) - sagittal(poses, "T12", upper=False) == pytest.approx(kyphosis)


@given(lordosis=LORDOSIS, kyphosis=KYPHOSIS, scale=st.floats(0.85, 1.15), loss=st.floats(0.0, 0.6))
def test_sagittal_cobb_angles_do_not_depend_on_the_rest(lordosis, kyphosis, scale, loss):
    poses = level_poses(spine(lordosis, kyphosis, stature_scale=scale, disc_loss=loss))
    assert sagittal(poses, "S1", upper=True) - sagittal(poses, "L1", upper=True) == pytest.approx(lordosis)
    assert sagittal(poses, "T6", upper=True) - sagittal(poses, "T12", upper=False) == pytest.approx(kyphosis)


@pytest.mark.parametrize("scoliosis", [0.0, 20.0, 45.0, -30.0])
def test_coronal_cobb_angle_is_exact(scoliosis):
    assert cobb(level_poses(spine(scoliosis=scoliosis))) == pytest.approx(scoliosis, abs=1e-9)


@given(lordosis=LORDOSIS, kyphosis=KYPHOSIS, scoliosis=SCOLIOSIS)
def test_coronal_cobb_angle_does_not_depend_on_the_profile(lordosis, kyphosis, scoliosis):
    poses = level_poses(spine(lordosis, kyphosis, scoliosis, curve_top="T7", curve_bottom="L3"))
    assert cobb(poses, top="T7", bottom="L3") == pytest.approx(scoliosis, abs=1e-9)


def test_positive_scoliosis_is_convex_to_the_left_and_mirrors():
    left, right = (level_poses(spine(scoliosis=angle)) for angle in (40.0, -40.0))
    top, apex, bottom = (left[level].translation for level in ("T8", "T11", "L2"))
    assert apex[0] > max(top[0], bottom[0]) + 5.0
    for level in COLUMN:
        np.testing.assert_allclose(right[level].translation, left[level].translation * [-1, 1, 1], atol=1e-9)


def test_without_scoliosis_nothing_leaves_the_midline():
    for pose in level_poses(spine(33.0, 41.0)).values():
        assert pose.translation[0] == 0.0
        np.testing.assert_array_equal(pose.rotation[0], [1.0, 0.0, 0.0])


def test_axial_turn_peaks_at_the_apex_and_ends_with_the_curve():
    angles = coronal_angles(spine(scoliosis=30.0))
    turns = {level: degrees(axial) for level, (_, axial) in angles.items()}
    assert max(turns, key=turns.get) == "T11"
    assert turns["T11"] == pytest.approx(0.4 * 30.0)
    for level in ("T6", "T7", "T8", "L2", "L3", "S1"):
        assert turns[level] == pytest.approx(0.0, abs=1e-9)


def test_compensatory_tilt_fades_to_zero_at_both_ends():
    tilts = {level: tilt for level, (tilt, _) in coronal_angles(spine(scoliosis=30.0)).items()}
    assert tilts["S1"] == pytest.approx(0.0, abs=1e-12)
    assert tilts["T6"] == pytest.approx(0.0, abs=1e-12)
    assert degrees(tilts["L2"]) == pytest.approx(15.0)
    assert degrees(tilts["T8"]) == pytest.approx(-15.0)


@pytest.mark.parametrize(("top", "bottom"), [("L2", "T8"), ("T10", "T10"), ("S1", "L5")])
def test_end_vertebrae_in_the_wrong_order_are_refused(top, bottom):
    with pytest.raises(ValueError, match="curve_top must lie above curve_bottom, got .* as curve_top"):
        level_poses(spine(scoliosis=20.0, curve_top=top, curve_bottom=bottom))
    assert len(level_poses(spine(scoliosis=20.0, curve_top="T11", curve_bottom="T12"))) == len(COLUMN)


@given(lordosis=LORDOSIS, kyphosis=KYPHOSIS, scoliosis=SCOLIOSIS, scale=st.floats(0.85, 1.15))
def test_origin_is_the_middle_of_the_upper_plate_of_s1(lordosis, kyphosis, scoliosis, scale):
    pose = level_poses(spine(lordosis, kyphosis, scoliosis, stature_scale=scale))["S1"]
    middle = scale * np.array([0.0, 0.0, 0.5 * middle_height("S1")])
    np.testing.assert_allclose(pose.apply(middle), np.zeros(3), atol=1e-9)


@given(scoliosis=SCOLIOSIS, scale=st.floats(0.85, 1.15))
def test_stature_scales_places_and_turns_nothing(scoliosis, scale):
    adult = level_poses(spine(scoliosis=scoliosis))
    scaled = level_poses(spine(scoliosis=scoliosis, stature_scale=scale))
    for level in COLUMN:
        np.testing.assert_array_equal(scaled[level].rotation, adult[level].rotation)
        np.testing.assert_allclose(scaled[level].translation, scale * adult[level].translation, atol=1e-9)


@given(lordosis=LORDOSIS, kyphosis=KYPHOSIS, scoliosis=SCOLIOSIS)
def test_poses_are_rotations(lordosis, kyphosis, scoliosis):
    for pose in level_poses(spine(lordosis, kyphosis, scoliosis)).values():
        np.testing.assert_allclose(pose.rotation @ pose.rotation.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(pose.rotation) == pytest.approx(1.0)


@pytest.mark.parametrize("loss", [0.0, 0.3, 0.6])
def test_discs_keep_their_height_between_the_plates(loss):
    poses = level_poses(spine(disc_loss=loss))
    for upper, lower in pairwise(COLUMN):
        above = poses[upper].apply([0.0, 0.0, -0.5 * middle_height(upper)])
        below = poses[lower].apply([0.0, 0.0, 0.5 * middle_height(lower)])
        disc = (1.0 - loss) * loader.number("vertebrae", f"{upper}.disc_height")
        # Two half discs, each square to its body, bent by half the angle between the bodies.
        between = np.arccos(poses[upper].rotation[:, 2] @ poses[lower].rotation[:, 2])
        found = np.linalg.norm(above - below) / np.cos(0.5 * between)
        if loss == 0.6 and upper in ("T6", "T7", "L5"):
            # Strongly wedged: the rims would meet.
            assert disc < found < disc + 1.5
        else:
            assert found == pytest.approx(disc)


@given(lordosis=LORDOSIS, kyphosis=KYPHOSIS, scoliosis=SCOLIOSIS, loss=st.floats(0.0, 0.6))
def test_rims_of_neighbouring_bodies_never_meet(lordosis, kyphosis, scoliosis, loss):
    """Checked point by point around both rims, drawn as ellipses on the plates."""
    poses = level_poses(spine(lordosis, kyphosis, scoliosis, disc_loss=loss))
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    for upper, lower in pairwise(COLUMN):
        above, below = loader.numbers("vertebrae", upper), loader.numbers("vertebrae", lower)
        width = min(above["lower_endplate_width"], below["upper_endplate_width"])
        depth = min(above["lower_endplate_depth"], below["upper_endplate_depth"])
        ellipse = 0.5 * np.stack([width * np.cos(turn), depth * np.sin(turn), np.zeros(73)], axis=-1)
        plate = Pose(about_x(0.5 * wedge(upper)), np.array([0.0, 0.0, -0.5 * middle_height(upper)]))
        rim = (poses[lower].inverse() @ poses[upper] @ plate).apply(ellipse)
        normal = np.array([0.0, np.sin(0.5 * wedge(lower)), np.cos(0.5 * wedge(lower))])
        assert (rim @ normal).min() - 0.5 * middle_height(lower) * normal[2] > 0.5, upper


def flexion(poses, upper, lower):
    """Return how far a body leans forward against the one below. [deg]"""
    lean = [
        degrees(float(np.arctan2(-z[1], z[2]))) for z in (poses[n].rotation[:, 2] for n in (upper, lower))
    ]
    return lean[0] - lean[1]


@pytest.mark.parametrize("bolster", [5.0, 12.5, 25.0])
def test_a_bolster_flattens_the_lumbar_curve_by_its_angle(bolster):
    flat, bent = (level_poses(spine(bolster=radians(angle))) for angle in (0.0, bolster))
    cobb = sagittal(bent, "S1", upper=True) - sagittal(bent, "L1", upper=True)
    assert cobb == pytest.approx(50.0 - bolster)
    assert sagittal(bent, "T6", upper=True) - sagittal(bent, "T12", upper=False) == pytest.approx(25.0)
    for upper, lower in pairwise(COLUMN):
        change = flexion(bent, upper, lower) - flexion(flat, upper, lower)
        bends = upper[0] == "L" or upper == "T12"
        assert (change > 0.1 * bolster) == bends, upper
        assert bends or change == pytest.approx(0.0, abs=1e-9)


@given(share=st.floats(0.1, 0.6), level=st.sampled_from(LEVELS))
def test_a_wedge_fracture_bends_the_column_above_by_what_the_front_has_lost(share, level):
    whole, broken = level_poses(spine()), level_poses(spine(findings=(WedgeFracture(level, share),)))
    tall = loader.number("vertebrae", f"{level}.anterior_height")
    back = loader.number("vertebrae", f"{level}.posterior_height")
    chord = endplate_chord(level)
    lost = degrees(np.arctan2(tall - back, chord) - np.arctan2((1.0 - share) * tall - back, chord))
    place = COLUMN.index(level)
    for below in COLUMN[place + 1 :]:
        np.testing.assert_allclose(broken[below].rotation, whole[below].rotation, atol=1e-12)
        np.testing.assert_allclose(broken[below].translation, whole[below].translation, atol=1e-9)
    for above in COLUMN[:place]:
        lean = np.arctan2(-broken[above].rotation[1, 2], broken[above].rotation[2, 2])
        lean -= np.arctan2(-whole[above].rotation[1, 2], whole[above].rotation[2, 2])
        assert degrees(float(lean)) == pytest.approx(lost, abs=1e-6)
    findings = (WedgeFracture(level, share),)
    plates = [endplate_normal(broken[level], level, upper=u, findings=findings) for u in (True, False)]
    angle = degrees(float(np.arctan2(*plates[1][1:]) - np.arctan2(*plates[0][1:])))
    assert angle == pytest.approx(lost - degrees(wedge(level)), abs=1e-6)


def test_a_fracture_of_another_body_changes_no_wedge():
    assert wedge("L1", (WedgeFracture("L2", 0.4),)) == wedge("L1")
    assert middle_height("L2", (WedgeFracture("L2", 0.4),)) == pytest.approx(middle_height("L2") - 0.2 * 24.0)


def test_shares_of_the_discs_add_up_to_one():
    for curve in ("lordosis_share", "kyphosis_share"):
        assert sum(loader.numbers("alignment", curve).values()) == pytest.approx(1.0)


@given(lordosis=LORDOSIS, kyphosis=KYPHOSIS)
def test_bodies_and_discs_make_up_both_curves(lordosis, kyphosis):
    discs = disc_wedges(spine(lordosis, kyphosis))
    assert set(discs) == set(LEVELS)
    assert discs["T12"] == 0.0
    lumbar = sum(discs[level] + wedge(level) for level in LEVELS if level[0] == "L")
    assert degrees(lumbar) == pytest.approx(lordosis)
    thoracic = sum(discs[level] + wedge(level) for level in LEVELS if level[0] == "T")
    assert degrees(thoracic) == pytest.approx(-kyphosis)


def test_slope_follows_its_rule():
    assert degrees(sacral_slope(spine())) == pytest.approx(38.0)
    assert degrees(sacral_slope(spine(60.0, 25.0))) == pytest.approx(38.0 + 7.5)
    assert degrees(sacral_slope(spine(50.0, 45.0))) == pytest.approx(38.0 - 7.0)
    poses = level_poses(spine(60.0, 45.0))
    assert sagittal(poses, "S1", upper=True) == pytest.approx(38.0 + 7.5 - 7.0)


def test_resting_curves_of_the_table_are_those_of_the_parameters():
    rest = loader.numbers("alignment", "rest")
    assert rest["lumbar_lordosis"] == pytest.approx(SpineParameters().lumbar_lordosis)
    assert rest["thoracic_kyphosis"] == pytest.approx(SpineParameters().thoracic_kyphosis)
