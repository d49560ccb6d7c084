"""The motions of the C-arm, their limits in words, named views and stored places."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshes.tables.loader import number
from meshes.units import radians
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_marks import head_edge, side_names, view_name
from trainer.physics.xray_stand import (
    MOTIONS,
    VIEWS,
    Stand,
    StoredPlaces,
    contralateral_view,
    limits,
    named_view,
)

HOME = Stand((4.0, 30.0, 120.0))


def test_at_home_it_is_the_plain_carm():
    assert HOME.carm == CArm((4.0, 30.0, 120.0))


def test_travel_moves_source_and_detector_alike():
    moved = HOME.moved(along=25.0, across=-10.0, height=40.0)
    step = np.array([-10.0, 40.0, 25.0])
    np.testing.assert_allclose(moved.carm.source - HOME.carm.source, step)
    np.testing.assert_allclose(moved.carm.detector.centre - HOME.carm.detector.centre, step)
    assert moved.moved(along=-25.0, across=10.0, height=-40.0) == HOME


@given(orbit=st.floats(-1.7, 1.7), tilt=st.floats(-0.7, 0.7), swivel=st.floats(-0.2, 0.2))
def test_source_isocentre_and_detector_lie_on_one_line(orbit, tilt, swivel):
    carm = HOME.set_to(orbit=orbit, tilt=tilt, swivel=swivel).carm
    source, detector = carm.source, carm.detector
    ray = (detector.centre - source) / carm.source_to_detector
    assert np.linalg.norm(ray) == pytest.approx(1.0)
    np.testing.assert_allclose(source + carm.source_to_isocentre * ray, carm.isocentre, atol=1e-9)
    np.testing.assert_allclose(carm.axes @ carm.axes.T, np.eye(3), atol=1e-12)
    # The middles of the pixels are where project says that they are.
    columns, rows, _ = carm.project(detector.pixel_middles()[::128, ::128])
    np.testing.assert_allclose(columns[0], np.arange(0, 512, 128) + 0.5, atol=1e-6)
    np.testing.assert_allclose(rows[:, 0], np.arange(0, 512, 128) + 0.5, atol=1e-6)


def test_swivel_turns_about_the_vertical():
    carm = HOME.set_to(swivel=0.2).carm
    np.testing.assert_allclose(carm.axes[2], [0.0, 1.0, 0.0], atol=1e-12)
    # The top of the picture has turned toward the patient's left.
    np.testing.assert_allclose(carm.axes[1], [np.sin(0.2), 0.0, np.cos(0.2)], atol=1e-12)
    assert view_name(carm) == "AP, swivel 11°"


def test_magnification_reads_a_smaller_part_of_the_detector():
    full, small = HOME.carm, HOME.set_to(field="small").carm
    assert small.pixels == full.pixels
    assert small.pixels_per_mm / full.pixels_per_mm == pytest.approx(300.0 / 150.0)
    nearer = HOME.set_to(source_to_detector=900.0).carm
    assert nearer.magnification == pytest.approx(900.0 / 650.0)


@pytest.mark.parametrize("motion", sorted(MOTIONS))
def test_each_motion_ends_in_words(motion):
    low, high = limits(motion)
    for end in (low, high):
        assert getattr(HOME.set_to(**{motion: end}), motion) == end
    for beyond in (low - 0.1, high + 0.1):
        with pytest.raises(ValueError, match=rf"{motion}_(deg|mm) must lie between .*: (the|raise) "):
            HOME.set_to(**{motion: beyond})
    with pytest.raises(ValueError, match="must lie between"):
        HOME.moved(**{motion: 2.0 * high + 1.0})


def test_guards():
    with pytest.raises(ValueError, match="field must be one of full, middle, small, got 'huge'"):
        HOME.set_to(field="huge")
    with pytest.raises(ValueError, match="motion must be one of .*, got dance"):
        HOME.moved(dance=1.0)
    with pytest.raises(ValueError, match="view must be one of AP, lateral"):
        named_view(HOME, "skyline")
    with pytest.raises(ValueError, match="angle must be left out for the view AP"):
        named_view(HOME, "AP", angle=0.1)
    with pytest.raises(ValueError, match="tilt_deg must lie between"):
        named_view(HOME, "caudal tilt", angle=1.0)
    with pytest.raises(ValueError, match="side must be left or right"):
        contralateral_view("middle")


def test_named_views():
    moved = HOME.moved(along=30.0).set_to(field="small", swivel=0.1)
    views = {name: named_view(moved, name) for name in VIEWS}
    assert {(view.along, view.field, view.swivel) for view in views.values()} == {(30.0, "small", 0.0)}
    assert view_name(views["AP"].carm) == "AP"
    assert view_name(views["lateral"].carm) == "Lateral"
    # A needle from the left: the detector swings over the patient's right.
    right = views[contralateral_view("left")].carm
    assert right.detector.centre[0] < HOME.home[0] < views["oblique left"].carm.detector.centre[0]
    assert views["oblique right"].orbit == number("xray", "view.oblique") == radians(50.0)
    assert named_view(HOME, "oblique left", angle=1.0).orbit == -1.0
    assert views["caudal tilt"].carm.detector.centre[2] < views["caudal tilt"].carm.source[2]


def test_stored_places_are_a_value():
    none = StoredPlaces()
    one = none.store("entry", HOME)
    two = one.store("target", HOME.moved(along=60.0)).store("entry", HOME.moved(along=5.0))
    assert one.recall("entry") == HOME
    assert two.recall("entry").along == 5.0
    with pytest.raises(ValueError, match=r"stored places \(none yet\), got 'entry'"):
        none.recall("entry")
    with pytest.raises(ValueError, match=r"stored places \(entry, target\)"):
        two.recall("hip")


def test_sides_follow_turn_and_flip():
    carm = HOME.carm
    assert side_names(carm) == ("L", "R") and head_edge(carm) == "top"
    assert side_names(carm, flipped=True) == ("R", "L")
    assert side_names(carm, turn=np.pi) == ("R", "L")
    assert head_edge(carm, turn=np.pi) == "bottom"
    # A quarter against the clock: what was on top is on the left.
    assert head_edge(carm, turn=0.5 * np.pi) == "left"
    assert view_name(carm, flipped=True) == "AP, mirrored"
