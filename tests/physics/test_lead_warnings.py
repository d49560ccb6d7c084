"""Warnings, feel and the patient's words, where something known goes wrong."""

from dataclasses import replace

import pytest

from meshes.units import radians
from trainer.physics.intrathecal import insert_intrathecal
from trainer.physics.lead import Mouth, advance, insert_lead, rotate
from trainer.physics.lead_warnings import KINDS, feel, lead_warnings, progress
from trainer.physics.mouth import mouth_from_placement
from trainer.physics.readings import read_lead


def lead_at(anatomy, *, offset=2.0, medial_deg=8.0, approach_deg=32.0):
    mouth = mouth_from_placement(
        anatomy.canal,
        interspace="T12-L1",
        offset=offset,
        approach=radians(approach_deg),
        medial=radians(medial_deg),
    )
    return insert_lead(anatomy.canal, mouth)


def warned(lead, millimetres):
    """Return {kind: first LeadWarning} and the Feels of a lead that is fed, and the lead."""
    found, feels = {}, []
    for _ in range(millimetres):
        before, lead = lead, advance(lead, 1.0)
        feels.append(feel(before, lead).word)
        for warning in lead_warnings(before, lead):
            found.setdefault(warning.kind, warning)
    return found, feels, lead


@pytest.fixture(scope="module")
def straight(anatomy):
    return warned(lead_at(anatomy), 60)


@pytest.fixture(scope="module")
def held_turn(anatomy):
    """A bend held to the patient's left sends the lead out beside a root."""
    return warned(rotate(advance(lead_at(anatomy), 25.5), radians(-90.0)), 100)


def test_a_good_way_warns_of_nothing(straight):
    found, feels, _ = straight
    assert set(found) <= {"dent-elsewhere"}
    assert set(feels) == {"free"}


def test_a_held_turn_goes_into_a_foramen_and_the_patient_says_so(held_turn):
    found, _, _ = held_turn
    assert "foramen on the left" in found["foramen"].text
    assert found["foramen"].says.startswith("a sharp pain on the left")
    assert found["foramen"].amount > found["foramen"].limit


def test_going_on_there_bows_the_lead_forces_and_loops_it(held_turn):
    found, feels, lead = held_turn
    assert {"buckling", "loop"} <= set(found)
    assert "stuck" in feels
    assert found["loop"].amount > 10.0
    assert read_lead(lead, lead.setup.canal).free_length == lead.fed


def test_forced_means_more_than_a_newton_and_a_tip_that_stands(held_turn):
    _, _, lead = held_turn
    stands = replace(lead, fed=lead.fed + 1.0, push=1.2)
    assert "forced" in {w.kind for w in lead_warnings(lead, stands)}
    assert "forced" not in {w.kind for w in lead_warnings(lead, replace(stands, push=0.9))}


def test_stuck_and_soft_are_told_apart(straight):
    _, _, lead = straight
    stands = replace(lead, fed=lead.fed + 1.0)
    assert progress(lead, stands) == 0.0
    assert feel(lead, stands).word == "soft"
    assert feel(lead, replace(stands, push=lead.push + 0.5)).word == "stuck"
    assert feel(lead, rotate(lead, 0.1)).word == "free"
    assert feel(lead, replace(lead, push=0.8)).word == "firm"


def test_dents_warn_by_place(straight):
    _, _, lead = straight
    depth = lead.depth.copy()
    depth[:, 1] = -1.0
    depth[4, 1], depth[-2, 1] = 4.6, 2.4
    found = {w.kind: w for w in lead_warnings(lead, replace(lead, depth=depth))}
    assert found["dent-near-mouth"].amount == pytest.approx(4.6)
    assert "dent-elsewhere" not in found
    depth[-2, 1] = 2.6
    assert "dent-elsewhere" in {w.kind for w in lead_warnings(lead, replace(lead, depth=depth))}


def test_a_pressed_root_is_named_with_its_side_and_district(anatomy, straight):
    _, _, lead = straight
    canal = anatomy.canal
    level, low, high = next(span for span in canal.level_spans if span[0] == "T11")
    place, depth = lead.place.copy(), lead.depth.copy()
    place[10, :2] = low + 0.18 * (high - low) + 6.0, radians(-98.0)
    depth[10, 1] = 1.0
    found = lead_warnings(lead, replace(lead, place=place, depth=depth))
    (root,) = [warning for warning in found if warning.kind == "root"]
    assert f"the {level} root on the right" in root.text
    assert root.says == "a sharp pain on the right round the lower belly"


def test_steep_pulls_and_unfinished_steps_warn(anatomy):
    steep = advance(lead_at(anatomy, approach_deg=65.0), 60.0)
    pulled = {w.kind for w in lead_warnings(steep, advance(steep, -2.0))}
    assert "cut" in pulled
    unfinished = lead_warnings(steep, replace(steep, converged=False))
    assert "unconverged" in {w.kind for w in unfinished}
    assert [KINDS.index(w.kind) for w in unfinished] == sorted(KINDS.index(w.kind) for w in unfinished)


def test_round_the_sac_is_told_although_the_offset_is_small(anatomy, straight):
    _, _, lead = straight
    place = lead.place.copy()
    place[-1, 1] = radians(170.0)
    assert "ventral" in {w.kind for w in lead_warnings(lead, replace(lead, place=place))}
    place[-1, 1] = radians(60.0)
    assert "ventral" not in {w.kind for w in lead_warnings(lead, replace(lead, place=place))}


def mouth_inside(anatomy, radius):
    canal = anatomy.canal
    station = canal.station("L1")
    _, tangent, _, dorsal = canal.frame_at(station)
    return Mouth(canal.to_world(station, 0.0, radius), 0.95 * tangent - 0.3 * dorsal, dorsal)


def test_a_lead_in_the_fluid_moves_too_freely(anatomy, straight):
    """Through a puncture: next to no push, inside the dura all the way, quickly up the canal."""
    _, _, epidural = straight
    lead = advance(insert_intrathecal(anatomy.canal, mouth_inside(anatomy, 6.0)), 60.0)
    assert lead.converged and lead.setup.intrathecal
    assert lead.push < 0.5 * epidural.push
    _, _, dura, _ = anatomy.canal.radii(lead.place[2:, 0], lead.place[2:, 1])
    assert (lead.place[2:, 2] < dura).all()
    assert read_lead(lead, anatomy).tip.dura_clearance < 0.0


def test_a_mouth_outside_the_dura_is_not_in_the_fluid(anatomy):
    with pytest.raises(ValueError, match="mouth must lie inside the dura"):
        insert_intrathecal(anatomy.canal, mouth_inside(anatomy, 9.0))


def test_no_canal_no_warnings():
    lead = insert_lead(None, Mouth((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)))
    assert lead_warnings(lead, advance(lead, 5.0)) == ()
