"""Geometry of slices: exact between picture and patient, radiological sides, ruler and angle."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshes.frames import about_x, about_y, about_z
from meshes.units import degrees, radians
from trainer.physics.slice_marks import edge_names, place_name, scale_bar
from trainer.physics.slice_plane import (
    SlicePlane,
    axial_plane,
    coronal_plane,
    needle_plane,
    sagittal_plane,
)

numbers = st.floats(-200.0, 200.0)
turns = st.floats(-3.0, 3.0)


STRAIGHT = np.eye(3)


def plane(turn=STRAIGHT, centre=(0.0, 0.0, 0.0), pitch=0.5):
    return SlicePlane("oblique", centre, turn[:, 0], turn[:, 1], 100, 80, pitch)


@given(turns, turns, turns, numbers, numbers, st.floats(0.2, 4.0))
def test_picture_and_patient_are_each_others_inverse(a, b, c, column, row, pitch):
    cut = plane(about_x(a) @ about_y(b) @ about_z(c), (5.0, -20.0, 130.0), pitch)
    point = cut.patient_point([column, row])
    assert cut.picture_point(point) == pytest.approx([column, row], abs=1e-9)
    assert cut.height_of(point) == pytest.approx(0.0, abs=1e-9)
    assert cut.picture_point(point + 7.0 * cut.normal) == pytest.approx([column, row], abs=1e-9)


@given(turns, turns, numbers, numbers, numbers, numbers)
def test_the_ruler_tells_the_distance_in_the_patient(a, b, x, y, u, v):
    cut = plane(about_x(a) @ about_y(b))
    apart = np.linalg.norm(cut.patient_point([x, y]) - cut.patient_point([u, v]))
    assert cut.ruler((x, y), (u, v)) == pytest.approx(apart, abs=1e-9)


@pytest.mark.parametrize("angle_deg", (0.0, 30.0, 90.0, 135.0, 180.0))
def test_the_angle_is_the_one_that_was_drawn(angle_deg):
    corner, angle = np.array([12.0, 40.0]), radians(angle_deg)
    second = corner + 9.0 * np.array([np.cos(angle), np.sin(angle)])
    assert degrees(plane().angle(corner + [4.0, 0.0], corner, second)) == pytest.approx(angle_deg, abs=1e-6)


def test_a_pixel_is_as_long_as_the_pitch_and_the_middle_is_the_centre():
    cut = plane(centre=(1.0, 2.0, 3.0), pitch=0.7)
    assert cut.patient_point([50.0, 40.0]) == pytest.approx([1.0, 2.0, 3.0])
    assert cut.ruler((10, 10), (11, 10)) == pytest.approx(0.7)
    assert cut.moved(4.0).height_of(cut.centre) == pytest.approx(-4.0)


def test_sides_are_those_of_the_clinic(anatomy):
    assert edge_names(axial_plane(anatomy, "L2")) == ("R", "L", "Front", "Back")
    assert edge_names(coronal_plane(anatomy, "L2")) == ("R", "L", "Head", "Feet")
    assert edge_names(sagittal_plane(anatomy)) == ("Front", "Back", "Head", "Feet")
    left = axial_plane(anatomy, "L2").picture_point([20.0, 0.0, 120.0])
    right = axial_plane(anatomy, "L2").picture_point([-20.0, 0.0, 120.0])
    assert left[0] > right[0]


def test_planes_run_through_what_they_are_named_after(anatomy):
    from trainer.physics.xray_carm import isocentre_at

    for make in (sagittal_plane, coronal_plane, axial_plane):
        cut = make(anatomy, "T12-L1")
        middle = isocentre_at(anatomy, "T12-L1")
        assert cut.height_of(middle) == pytest.approx(0.0, abs=1e-9)
        place = cut.picture_point(middle)
        assert 0.0 < place[0] < cut.columns
        assert 0.0 < place[1] < cut.rows
    assert sagittal_plane(anatomy, 7.0).centre[0] == 7.0
    assert axial_plane(anatomy, 100.0).centre[2] == 100.0
    assert place_name(sagittal_plane(anatomy, 7.0)) == "Sagittal, 7 mm left"
    assert place_name(sagittal_plane(anatomy)) == "Sagittal, midline"


def test_the_sagittal_view_shows_every_body_and_the_skin(anatomy):
    cut = sagittal_plane(anatomy)
    for marks in anatomy.landmarks.levels.values():
        column, row = cut.picture_point(marks.body_centre)
        assert 0.0 < column < cut.columns
        assert 0.0 < row < cut.rows
    edge = cut.patient_point([cut.columns, 0.5 * cut.rows])
    assert anatomy.tissue.skin(0.0, edge[2]) < edge[1]


@pytest.mark.parametrize("place", ("L4-L5", "L5-S1", "T12"))
def test_a_leaning_plane_runs_along_its_disc(anatomy, place):
    cut = axial_plane(anatomy, place, along_disc=True)
    marks = anatomy.landmarks.levels
    upper, lower = (place.split("-") * 2)[:2]
    plates = (
        [marks[upper].lower_endplate[1], marks[lower].upper_endplate[1]]
        if upper != lower
        else [marks[upper].upper_endplate[1], marks[upper].lower_endplate[1]]
    )
    mean = np.mean(plates, axis=0)
    tilt = degrees(np.arccos(abs(cut.normal @ mean) / np.linalg.norm(mean)))
    # A named body is cut along its upper plate, half its wedge from the mean.
    assert tilt < (0.1 if upper != lower else 4.0)


def test_a_needle_lies_in_its_plane(anatomy):
    tip, direction = np.array([1.0, 25.0, 150.0]), np.array([0.2, -0.55, 0.8])
    cut = needle_plane(tip, direction)
    along = tip + np.outer([-80.0, 0.0, 20.0], direction / np.linalg.norm(direction))
    assert cut.height_of(along) == pytest.approx(0.0, abs=1e-9)
    # The needle comes from behind and below: its hub is right of and below its tip.
    hub, point, _ = cut.picture_point(along)
    assert hub[0] > point[0]
    assert hub[1] > point[1]
    assert edge_names(cut) == ("Front", "Back", "Head", "Feet")


def test_scale_bars_are_round_and_true(anatomy):
    length, pixels = scale_bar(axial_plane(anatomy, "L3"))
    assert (length, pixels) == (50, pytest.approx(100.0))
    assert scale_bar(plane(pitch=0.25))[0] == 5


def test_planes_that_cannot_be_are_refused(anatomy):
    with pytest.raises(ValueError, match="square to each other"):
        SlicePlane("oblique", np.zeros(3), [1.0, 0.0, 0.0], [0.6, 0.8, 0.0], 10, 10)
    with pytest.raises(ValueError, match="columns and rows"):
        SlicePlane("axial", np.zeros(3), [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], 0, 10)
    with pytest.raises(ValueError, match="pitch must be positive"):
        SlicePlane("axial", np.zeros(3), [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], 10, 10, -1.0)
    with pytest.raises(ValueError, match="name a level or an interspace"):
        axial_plane(anatomy, 100.0, along_disc=True)
    with pytest.raises(ValueError, match="level must be one of"):
        sagittal_plane(anatomy, "C7")
    with pytest.raises(ValueError, match="off the corner"):
        plane().angle((1, 1), (1, 1), (2, 2))
    with pytest.raises(ValueError, match="off the horizontal"):
        needle_plane(np.zeros(3), [0.0, -1.0, 0.0])
    with pytest.raises(ValueError, match="more than across"):
        needle_plane(np.zeros(3), [1.0, -0.1, 0.1])
