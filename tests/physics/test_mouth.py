"""Where a needle opens in the canal."""

import numpy as np
import pytest

from meshes.units import radians
from trainer.physics.mouth import Mouth, mouth_from_placement


def placed(anatomy, **changes):
    usual = {"interspace": "T12-L1", "offset": 3.0, "approach": radians(32.0), "medial": radians(10.0)}
    return mouth_from_placement(anatomy.canal, **{**usual, **changes})


@pytest.mark.parametrize("offset", [-3.0, 0.0, 3.0])
@pytest.mark.parametrize("interspace", ["T11-T12", "T12-L1", "L1-L2"])
def test_the_mouth_opens_where_it_was_asked_for(anatomy, interspace, offset):
    mouth = placed(anatomy, interspace=interspace, offset=offset)
    canal = anatomy.canal
    u, theta, r = canal.to_chart(mouth.point)
    marks = canal.interspaces[interspace]
    assert r * np.sin(theta) == pytest.approx(offset, abs=0.01)
    assert marks.flavum_caudal < u < marks.lamina_caudal_edge
    room, to_dura = canal.contacts(mouth.point[None])[0, [0, 4]]
    assert room == pytest.approx(min(1.5, 0.5 * (room + to_dura)), abs=0.02)


def test_the_needle_makes_the_angles_asked_for(anatomy):
    mouth = placed(anatomy)
    _, along, left, dorsal = anatomy.canal.frame_at(anatomy.canal.to_chart(mouth.point)[0])
    assert -mouth.direction @ dorsal == pytest.approx(np.sin(radians(32.0)), abs=1e-6)
    # From the left it leans to the right, towards the midline.
    assert mouth.direction @ left == pytest.approx(-np.cos(radians(32.0)) * np.sin(radians(10.0)), abs=1e-6)
    assert mouth.direction @ along > 0.0
    assert mouth.up @ mouth.direction == pytest.approx(0.0, abs=1e-12)
    assert mouth.up @ dorsal > 0.5


def test_left_and_right_mirror(anatomy):
    left, right = placed(anatomy, offset=3.0), placed(anatomy, offset=-3.0)
    flip = np.array([-1.0, 1.0, 1.0])
    assert left.point == pytest.approx(flip * right.point, abs=1e-3)
    assert left.direction == pytest.approx(flip * right.direction, abs=1e-6)


def test_depth_under_the_roof_can_be_chosen(anatomy):
    mouth = placed(anatomy, inside=0.8, offset=0.0)
    assert anatomy.canal.contacts(mouth.point[None])[0, 0] == pytest.approx(0.8, abs=0.01)
    with pytest.raises(ValueError, match="inside must be positive, got -1"):
        placed(anatomy, inside=-1.0)


@pytest.mark.parametrize("approach_deg", [0.0, 90.0, 120.0])
def test_an_impossible_approach_is_refused(anatomy, approach_deg):
    with pytest.raises(ValueError, match="approach_deg must be more than 0 and less than 90"):
        placed(anatomy, approach=radians(approach_deg))
    assert placed(anatomy, approach=radians(80.0)).direction[1] < 0.0


@pytest.mark.parametrize("medial_deg", [-61.0, 61.0, float("nan")])
def test_an_impossible_turn_is_refused(anatomy, medial_deg):
    with pytest.raises(ValueError, match="medial_deg must lie between -60 and 60"):
        placed(anatomy, medial=radians(medial_deg))
    assert placed(anatomy, medial=radians(60.0)).direction[0] < 0.0


def test_an_offset_that_is_no_number_is_refused(anatomy):
    with pytest.raises(ValueError, match="offset must be a number, got nan"):
        placed(anatomy, offset=float("nan"))


def test_an_offset_in_the_bone_is_refused(anatomy):
    with pytest.raises(ValueError, match="offset must lie inside the canal, got 25 mm"):
        placed(anatomy, offset=25.0)
    assert placed(anatomy, offset=6.0).point[0] == pytest.approx(6.0, abs=0.5)


def test_unknown_interspaces_are_named(anatomy):
    with pytest.raises(ValueError, match="interspace must be one of"):
        placed(anatomy, interspace="T1-T2")


def test_up_must_point_across_the_needle():
    along = np.array([0.0, 0.0, 2.0])
    with pytest.raises(ValueError, match="up must point across the needle"):
        Mouth(np.zeros(3), along, along)
    mouth = Mouth(np.zeros(3), along, np.array([0.0, 3.0, 1.0]))
    assert mouth.direction == pytest.approx([0.0, 0.0, 1.0])
    assert mouth.up == pytest.approx([0.0, 1.0, 0.0])


def test_a_mouth_cannot_be_changed():
    mouth = Mouth(np.zeros(3), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    with pytest.raises(ValueError, match="read-only"):
        mouth.point[0] = 1.0
