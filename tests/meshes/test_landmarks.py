"""Landmarks against the bones as built, and against what counting in the trade expects."""

import numpy as np
import pytest
import trimesh

from meshes.findings import Laminectomy
from meshes.landmarks import LAMINA_X, crossed_level, landmarks, pedicle_centres
from meshes.levels import COLUMN, LEVELS
from meshes.measure_bones import measure_bone
from meshes.parameters import SpineParameters
from meshes.units import degrees, radians


@pytest.fixture(scope="module")
def found(anatomy):
    return landmarks(anatomy)


@pytest.mark.parametrize("level", LEVELS)
def test_pedicles_are_met_in_their_middle(anatomy, found, level):
    """Inside the bone by trimesh; as wide sideways about the centre as the measured pedicle."""
    mesh = trimesh.Trimesh(*anatomy.bone_meshes[level], process=False)
    centres = found.levels[level].pedicle_centres
    assert mesh.contains(centres).all() and centres[0, 0] > 8.0 and centres[1, 0] < -8.0
    assert np.all(np.abs(centres[0] * [-1, 1, 1] - centres[1]) < [0.3, 1.1, 0.4])
    hits = [
        mesh.ray.intersects_location([centres[0]], [[d, 0.0, 0.0]], multiple_hits=False)[0]
        for d in (1.0, -1.0)
    ]
    width = np.linalg.norm(hits[0] - hits[1])
    assert 0.7 < width / measure_bone(anatomy.bones[level]).pedicle_width < 1.1
    assert np.linalg.norm(hits[0] - centres[0]) == pytest.approx(0.5 * width, abs=0.8)


def test_endplates_hold_the_cobb_angles(found):
    """Lordosis between the normals of L1 upper and S1 upper plate, as asked for: 50 degrees."""
    top, bottom = (found.levels[level].upper_endplate[1] for level in ("L1", "S1"))
    assert degrees(np.arccos(top @ bottom)) == pytest.approx(50.0, abs=1.0)
    np.testing.assert_allclose(found.levels["S1"].upper_endplate[0], 0.0, atol=2.5)
    assert np.isnan(found.levels["S1"].lower_endplate[0]).all()


def test_order_along_the_column(found):
    for read in (
        lambda level: level.body_centre, lambda level: level.spinous_tip,
        lambda level: level.upper_endplate[0], lambda level: level.lamina_top[3],
    ):  # fmt: skip
        assert np.all(np.diff([read(found.levels[level])[2] for level in COLUMN]) < -10.0)


def test_lamina_rims_and_tips_lie_on_the_bone(anatomy, found):
    for level in LEVELS:
        own = found.levels[level]
        for points in (own.lamina_top, own.lamina_bottom, own.spinous_tip[None]):
            assert np.abs(anatomy.packed.only([level]).nearest(points)).max() < 3.5
        assert own.lamina_top.shape == (len(LAMINA_X), 3)
        assert own.lamina_top[3, 2] > own.lamina_bottom[3, 2] + 5.0


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_ventral_line_is_the_back_of_the_canal(anatomy, found, side):
    """Behind the axis of the sac, and within some mm of the wall that flava and laminae make."""
    line = found.ventral_interlaminar_line[side]
    assert np.all(line[:, 0] > 0.0 if side == "left" else line[:, 0] < 0.0)
    inner = line[(line[:, 2] > 60.0) & (line[:, 2] < 290.0)]
    u, theta, radius = anatomy.canal.to_chart(inner)
    wall = np.array([float(np.ravel(anatomy.canal.radii(*place)[3])[0]) for place in zip(u, theta)])
    assert np.abs(theta).max() < radians(90.0)
    assert (radius - wall).min() > -2.5 and np.median(radius - wall) < 5.0


def test_crests_cross_the_column_where_they_are_looked_for(found):
    """Common practice: the line between both crests crosses the body of L4 or the interspace below it."""
    assert found.crest_level in ("L4", "L4-L5")
    left, right = found.iliac_crest_line
    np.testing.assert_allclose(left * [-1, 1, 1], right, atol=1e-6)


def test_heights_are_told_by_body_and_interspace(found):
    centre = {level: found.levels[level].body_centre[2] for level in COLUMN}
    assert crossed_level(found.levels, centre["L3"]) == "L3"
    plate = found.levels["L3"].lower_endplate[0][2]
    assert crossed_level(found.levels, plate - 2.0) == "L3-L4"
    assert crossed_level(found.levels, 1000.0) == "T6" and crossed_level(found.levels, -1000.0) == "S1"


@pytest.mark.parametrize("pairs, last", [(11, "rib 11 left"), (12, "rib 12 left"), (13, "rib 13 left")])
def test_rib_heads_by_number_of_pairs(anatomy, pairs, last):
    heads = landmarks(anatomy.with_pose(rib_pairs=pairs)).rib_heads
    assert list(heads)[-2] == last and len(heads) == 2 * (pairs - 5)
    for name, place in heads.items():
        assert (place[0] > 0.0) == name.endswith("left")


def test_landmarks_follow_the_posture(anatomy):
    curved = landmarks(anatomy.with_pose(scoliosis=radians(30.0)))
    tip = curved.levels["T12"].spinous_tip
    assert abs(tip[0]) > 8.0
    assert abs(curved.levels["L5"].pedicle_centres.mean(axis=0)[0]) < abs(tip[0])


def test_a_missing_pedicle_has_no_middle(anatomy):
    """A mesh without arch: everything behind the body's posterior wall moved into it."""
    bone = anatomy.bones["L3"]
    from dataclasses import replace

    flat = bone.vertices.copy()
    flat[:, 1] = np.minimum(flat[:, 1], bone.shape.posterior_wall)
    assert np.isnan(pedicle_centres(replace(bone, vertices=flat))).all()
    assert np.isnan(pedicle_centres(anatomy.bones["S1"])).all()
    assert not np.isnan(pedicle_centres(bone)).any()


def test_a_removed_lamina_has_no_landmarks():
    """A laminectomy of L3 takes its spinous process and the middle of its lamina, nothing of L2 and L4."""
    from meshes.anatomy import build_anatomy

    found = build_anatomy(SpineParameters(findings=(Laminectomy("L3"),))).landmarks.levels
    assert found["L3"].spinous_tip is None and np.isnan(found["L3"].lamina_top[3]).all()
    assert not np.isnan(found["L3"].pedicle_centres).any()
    for level in ("L2", "L4"):
        assert not np.isnan(found[level].spinous_tip).any() and not np.isnan(found[level].lamina_top).any()


def test_an_arch_that_is_gone_has_no_landmarks_and_every_reader_takes_it(anatomy):
    """All behind the body of L3 removed: the tables, the squared picture and its reading go on without it."""
    from meshes.anatomy import build_anatomy
    from trainer.commands import anatomy as command
    from trainer.physics.picture_reading import read_spinous
    from trainer.physics.squared_pose import squared_pose
    from trainer.physics.xray_carm import CArm

    gone = build_anatomy(SpineParameters(findings=(Laminectomy("L3", reach="pedicles"),)))
    own = gone.landmarks.levels["L3"]
    assert (own.spinous_tip, own.lamina_top, own.lamina_bottom) == (None, None, None)
    told = command._landmarks(gone)["levels"]["L3"]
    assert (told["spinous_tip_mm"], told["lamina_top_mm"]) == (None, None)
    orbit, tilt = squared_pose(gone, "L3")
    assert orbit == pytest.approx(squared_pose(anatomy, "L3")[0], abs=1e-3)
    reading = read_spinous(gone, "L3", carm=CArm(own.body_centre, orbit, tilt))
    assert np.isnan(reading.share) and not reading.central
