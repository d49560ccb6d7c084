"""True, false and missing loss of resistance, and the other signs of the space."""

import numpy as np
import pytest

from meshes.anatomy import build_anatomy
from meshes.findings import Laminectomy
from meshes.parameters import SpineParameters
from meshes.units import radians
from trainer.physics import needle_consequences as c
from trainer.physics.aim import aim_at_target
from trainer.physics.epidural_saline import space_opened
from trainer.physics.loss_of_resistance import advance_under_pressure, feel_for_loss, inject, let_go
from trainer.physics.needle_push import push_needle, withdraw
from trainer.physics.needle_scene import needle_scene
from trainer.physics.needle_state import place_needle
from trainer.physics.needle_turn import stylet
from trainer.physics.patient_reaction import Patient, react
from trainer.physics.space_tests import back_flow, epidural_pressure, hanging_drop, try_lead, where_it_lies
from trainer.physics.syringe import Syringe, press
from trainer.physics.tissue_layers import DURA, EPIDURAL, FLAVUM, POCKET, SCAR, opening_into


def ready(
    anatomy, *, approach_deg=40.0, medial_deg=15.0, offset=3.0, seed=1, hollows=(), interspace="T12-L1"
):
    aim = aim_at_target(
        anatomy, interspace, side="left", approach=radians(approach_deg), medial=radians(medial_deg),
        target_offset=offset,
    )  # fmt: skip
    return stylet(
        place_needle(needle_scene(anatomy, rng=seed, hollows=hollows), aim, grip="braced"), inside=False
    )


def advanced(state, depth):
    while state.depth < depth:
        state = push_needle(state, 0.5, until=depth)
    return state


def searched(state, medium, *, most=40.0):
    """Return every reading on the way, 0.5 mm a time, until resistance is lost."""
    syringe, readings, start = Syringe(medium), [], state.depth
    while state.depth < start + most:
        state, syringe, reading = advance_under_pressure(state, syringe, 0.5)
        readings.append((state, reading))
        if reading.feel == "lost":
            break
    return readings


@pytest.mark.parametrize("medium, firm", [("saline", "firm"), ("air", "bounces")])
def test_true_loss_comes_with_the_opening_in_the_space(anatomy, medium, firm):
    readings = searched(advanced(ready(anatomy), 58.0), medium)
    assert {reading.feel for _, reading in readings[:-1]} == {firm}
    state, reading = readings[-1]
    assert reading.feel == "lost" and state.in_epidural_space and where_it_lies(state) == "epidural"
    assert 0.0 < state.epidural_depth < 6.0
    assert try_lead(state).passes


def test_a_needle_drawn_back_out_of_the_space_no_longer_reports_it(anatomy):
    """The way was cut into the space, but the bore looks into flavum or muscle again."""
    state = searched(advanced(ready(anatomy), 58.0), "air")[-1][0]
    reading = feel_for_loss(state, Syringe())[1]
    assert reading.feel == "lost"
    back = withdraw(state, 8.0)
    assert back.cut == state.cut and back.opening_depth < state.opening_depth - 6.0
    assert not back.in_epidural_space and where_it_lies(back) == "outside" and back.tissue != state.tissue
    assert feel_for_loss(back, Syringe())[1].feel == "firm" and not try_lead(back).passes
    again = advanced(back, state.depth)
    assert again.in_epidural_space and feel_for_loss(again, Syringe())[1].feel == "lost"


def test_a_needle_drawn_back_out_of_the_sac_drips_no_more(anatomy):
    state = advanced(ready(anatomy), 66.0)
    while where_it_lies(state) != "intrathecal":
        state = push_needle(state, 0.2)
    back, seen = state, []
    while where_it_lies(back) in ("intrathecal", "subdural"):
        before, back = back, withdraw(back, 0.5)
        seen += c.complications(before, back)
    assert where_it_lies(back) == "epidural" and back.dura == "punctured" and not seen
    assert back_flow(state).rate > 0.0 == back_flow(back).rate


def test_saline_bounces_not_and_air_comes_back(anatomy):
    state = advanced(ready(anatomy), 64.0)
    for medium, feel in (("saline", "firm"), ("air", "bounces")):
        syringe, reading = feel_for_loss(state, Syringe(medium))
        assert reading.feel == feel and reading.words
        assert let_go(state, syringe).travel <= syringe.travel


def test_a_hollow_gives_a_false_loss_that_goes_firm_again(anatomy):
    state = ready(anatomy, hollows=("T12-L1",), seed=3)
    hollow, entry = state.start_of(POCKET), state.start_of(EPIDURAL)
    assert hollow is not None and hollow < entry - 5.0
    at_it = advanced(state, hollow + 3.2)
    assert at_it.opening.tissue == "hollow"
    syringe, first = feel_for_loss(at_it, Syringe(), seconds=0.4)
    assert first.feel in ("gives", "lost") and not at_it.in_epidural_space
    for _ in range(4):
        syringe, last = feel_for_loss(at_it, syringe, seconds=0.4)
    assert last.rate < 0.5 * first.rate
    beyond = advanced(at_it, hollow + 9.0)
    assert feel_for_loss(beyond, Syringe())[1].feel == "firm"
    assert not try_lead(at_it).passes and try_lead(at_it).reach > 0.0


def test_a_midline_cleft_loses_resistance_before_the_space(anatomy):
    parted = anatomy.with_pose(flavum_gaps=("T12-L1",))
    state = ready(parted, approach_deg=70.0, medial_deg=0.0, offset=0.0)
    readings = searched(advanced(state, state.start_of(POCKET) - 1.0), "saline", most=12.0)
    first = next(state for state, reading in readings if reading.feel in ("gives", "lost"))
    assert first.opening.tissue == "hollow" and not first.in_epidural_space


def test_dense_scar_after_laminectomy_hides_the_loss_until_the_sac_is_entered():
    operated = build_anatomy(SpineParameters(findings=(Laminectomy("L3", scar=1.0),)))
    state = ready(operated, interspace="L3-L4", approach_deg=60.0, medial_deg=0.0, offset=0.0)
    assert SCAR in state.codes and FLAVUM not in state.codes
    readings = searched(advanced(state, state.start_of(SCAR) + 2.0), "saline")
    assert not any(found.in_epidural_space for found, reading in readings if reading.feel == "lost")
    last = readings[-1][0]
    assert readings[-1][1].feel == "lost" and last.dura == "punctured"
    assert where_it_lies(last) == "intrathecal" and "tough" in {found.resistance for found, _ in readings}


def test_half_scar_dulls_the_loss():
    fat, scarred = (
        press(Syringe(), 8.0, seconds=1.0, opening=opening_into(EPIDURAL, scar=share)) for share in (0.0, 0.6)
    )
    assert scarred.delivered < 0.3 * fat.delivered


def test_a_tip_past_the_dura_with_its_opening_before_it_is_subdural(anatomy):
    state = ready(anatomy)
    cut = state.start_of(DURA) + 0.5
    assert where_it_lies(state.with_changes(cut=cut, depth=cut)) == "subdural"
    assert where_it_lies(state.with_changes(cut=cut + 3.0, depth=cut + 3.0)) == "intrathecal"
    assert where_it_lies(state.with_changes(cut=cut - 1.0, depth=cut - 1.0)) == "epidural"
    before, after = (state.with_changes(cut=cut, depth=cut) for cut in (cut - 1.0, cut))
    assert c.SUBDURAL in [found.kind for found in c.complications(before, after) if not found.seen]


def test_puncture_shows_fluid_once_the_opening_is_in_the_sac(anatomy):
    state = advanced(ready(anatomy), 66.0)
    seen = []
    while where_it_lies(state) != "intrathecal":
        before, state = state, push_needle(state, 0.2)
        seen += [(found.kind, found.seen) for found in c.complications(before, state)]
    flow = back_flow(state)
    assert flow.kind == "clear fluid" and flow.rate > 0.0
    assert back_flow(stylet(state, inside=True)).rate == 0.0
    kinds = [kind for kind, _ in seen]
    assert kinds.index(c.PUNCTURE) < kinds.index(c.INTRATHECAL)
    assert (c.INTRATHECAL, True) in seen
    hidden = stylet(state, inside=True)
    assert [found.kind for found in c.complications(hidden, stylet(hidden, inside=False))] == [c.INTRATHECAL]
    while state.counts.cord_contacts == 0:
        before, state = state, push_needle(state, 0.2)
    first = c.complications(before, state)[0]
    assert first.kind == c.CORD_TOUCHED and first.ends_attempt and state.words


@pytest.mark.parametrize("kind", c.KINDS)
def test_every_complication_offers_a_good_and_a_bad_choice(kind):
    choices = c.CHOICES[kind]
    ratings = {choice.rating for choice in choices}
    assert "good" in ratings and ratings & {"wrong", "dangerous"}
    assert len({choice.key for choice in choices}) == len(choices)
    assert all(choice.rating in c.RATINGS and choice.why and choice.status for choice in choices)


def test_what_physicians_do_after_a_puncture_is_the_published_share():
    """Southerland et al., Anesth Pain Med 2022;12:e127179: 57, 28 and 10 %."""
    shares = {choice.key: choice.why.split()[0] for choice in c.CHOICES[c.PUNCTURE][:3]}
    assert shares == {"another level": "57", "stop": "28", "same level": "10"}


def test_saline_is_injected_into_the_space_and_not_into_the_flavum(anatomy):
    state = advanced(ready(anatomy), 65.5)
    assert state.opening.tissue == "ligamentum flavum"
    assert inject(state, Syringe(), 6000.0)[0].delivered < 10.0
    state = searched(state, "air")[-1][0]
    syringe, reading = inject(state, Syringe(volume=10000.0), 6000.0)
    assert syringe.delivered == pytest.approx(6000.0, rel=0.1) and reading.feel == "lost"
    assert space_opened(syringe.delivered).lowering > 0.8
    with pytest.raises(ValueError, match="volume must lie between 0 and 20000"):
        inject(state, Syringe(), 0.0)


def test_the_drop_is_drawn_in_for_seconds_only(anatomy):
    readings = searched(advanced(ready(anatomy), 58.0), "air")
    state = readings[-1][0]
    soon = [hanging_drop(state, seconds=1.0, rng=seed).drawn for seed in range(60)]
    late = [hanging_drop(state, seconds=60.0, rng=seed).drawn for seed in range(60)]
    assert np.mean(soon) > 0.8 and np.mean(late) < 0.3
    assert not hanging_drop(advanced(ready(anatomy), 40.0), seconds=1.0).drawn
    with pytest.raises(ValueError, match="stylet must be out before a drop"):
        hanging_drop(stylet(state, inside=True), seconds=1.0)


def test_the_epidural_pressure_comes_back():
    early, late = (epidural_pressure(s, rng=3) for s in (0.0, 300.0))
    assert early < 0.0 < late
    with pytest.raises(ValueError, match="position must be one of prone, sitting, lumbar"):
        epidural_pressure(0.0, position="standing")


def test_a_syringe_needs_an_open_bore(anatomy):
    state = stylet(ready(anatomy), inside=True)
    for act in (
        lambda: feel_for_loss(state, Syringe()),
        lambda: advance_under_pressure(state, Syringe(), 1.0),
        lambda: try_lead(state),
    ):
        with pytest.raises(ValueError, match="stylet must be out"):
            act()
    with pytest.raises(ValueError, match="millimetres must be positive"):
        advance_under_pressure(ready(anatomy), Syringe(), -1.0)


def test_deep_sedation_silences_the_warning():
    awake, deep = Patient(), Patient(sedation="deep")
    assert "electric" in react("root", awake, place="the left L1 root").words
    assert react("root", deep).words is None and react("root", deep).pain == react("root", awake).pain
    assert react("root", awake).movement > react("root", deep).movement
    assert react("skin", Patient("none")).pain > react("skin", awake).pain
    assert react("bone_hard", Patient("deep")).pain < react("bone_hard", awake).pain
    with pytest.raises(ValueError, match="cause must be one of"):
        react("tickle", awake)
    with pytest.raises(ValueError, match="sedation must be one of awake, light, deep"):
        Patient(sedation="asleep")
