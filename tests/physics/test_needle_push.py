"""Pushing, pulling and turning a needle in the ordinary adult and on a flat back."""

import math

import numpy as np
import pytest
from flat_back import flat_anatomy, packed_field

from meshes.findings import FlavumThickening
from meshes.units import degrees, radians
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_push import push_needle, release, withdraw
from trainer.physics.needle_scene import needle_scene
from trainer.physics.needle_state import PUNCTURED, TENTED, place_needle
from trainer.physics.needle_turn import held_at, reangle, reangle_to, stylet, turn_bevel


@pytest.fixture(scope="module")
def scene(anatomy):
    return needle_scene(anatomy, rng=1, hollows=())


@pytest.fixture(scope="module")
def aim(anatomy):
    return aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(40.0), medial=radians(15.0), target_offset=3.0
    )


def pushed(state, depth, *, step=1.0, grip=None):
    while state.depth < depth and state.bone is None:
        state = push_needle(state, step, grip=grip, until=depth)
    return state


def flat(packed=None, *, x=0.0, approach_deg=45.0):
    scene = needle_scene(flat_anatomy(packed), rng=1, hollows=())
    return place_needle(
        scene, NeedleAim("T12-L1", x, -60.0, radians(approach_deg), 0.0), needle=Needle(152.0)
    )


def test_the_way_to_the_epidural_space_is_felt_in_order(scene, aim, anatomy):
    state, told = place_needle(scene, aim), []
    check = check_needle(anatomy, aim)
    while state.depth < check.to_epidural + 3.0:
        state = push_needle(state, 0.2, grip="braced")
        told.append((state.tissue, state.resistance, state.peak, state.plunge))
    order = list(dict.fromkeys(tissue for tissue, *_ in told))
    assert order == ["skin", "fat", "fascia", "muscle", "ligamentum flavum", "epidural space"]
    worst = {tissue: max(row[2] for row in told if row[0] == tissue) for tissue in order}
    assert worst["fat"] < worst["muscle"] < worst["ligamentum flavum"]
    assert {row[1] for row in told if row[0] == "fat"} <= {"soft", "firm"}
    assert "tough" in {row[1] for row in told if row[0] == "ligamentum flavum"}
    gives = [row for row in told if row[3] > 0.25]
    assert gives[-1][0] == "epidural space" and told[-1][1] == "soft"
    assert state.dura == "intact" and state.counts.bone_contacts == 0
    point, direction = state.mouth()
    np.testing.assert_allclose(np.linalg.norm(direction), 1.0)
    assert np.linalg.norm(state.tip - point) == pytest.approx(1.5)


def test_a_loose_hand_plunges_deeper_than_a_braced_one(scene, aim):
    depths = []
    for grip in ("loose", "steady", "braced"):
        state, last = place_needle(scene, aim, grip=grip), 0
        while state.tissue != "epidural space" and state.dura != PUNCTURED and state.tissue != "dura":
            state = push_needle(state, 0.2)
            last += 1
        depths.append(state.epidural_depth)
    assert depths[0] > depths[1] + 1.0 > depths[2] + 1.5


def test_a_plain_push_changes_nothing_of_the_state_before_it(scene, aim):
    before = pushed(place_needle(scene, aim), 20.0)
    kept = before.depth, before.cut, before.track.copy(), before.counts
    push_needle(before, 5.0), withdraw(before, 5.0), reangle(before, radians(2.0))
    assert (before.depth, before.cut, before.counts) == (kept[0], kept[1], kept[3])
    assert np.array_equal(before.track, kept[2])


def test_one_long_push_is_many_short_ones(scene, aim):
    whole, parts = push_needle(place_needle(scene, aim), 40.0), place_needle(scene, aim)
    for _ in range(20):
        parts = push_needle(parts, 2.0)
    assert (whole.depth, whole.cut, whole.force) == (parts.depth, parts.cut, parts.force)
    assert np.array_equal(whole.track, parts.track)
    assert whole.counts.pushes == 1 and parts.counts.pushes == 20
    assert whole.peak > parts.peak and len(whole.trace) == 800


def test_angles_can_be_named_instead_of_changed(scene, aim):
    state = pushed(place_needle(scene, aim), 8.0)
    turned, turn = reangle_to(state, radians(34.0), medial=radians(10.0))
    assert turn.held_by is None
    assert held_at(turned) == pytest.approx((radians(34.0), radians(10.0)), abs=1e-6)


def test_the_same_acts_repeat_to_the_bit(anatomy, aim):
    ends = []
    for _ in range(2):
        state = place_needle(needle_scene(anatomy, rng=5), aim)
        for act in (30.0, 10.0, -8.0):
            state = push_needle(state, act)
        state, _ = reangle(state, radians(2.0))
        for _ in range(30):
            state = push_needle(turn_bevel(state, 0.1), 1.0)
        ends.append((state.depth, state.force, *state.tip, *state.trace.ravel()))
    assert ends[0] == ends[1]


def test_withdrawal_brings_the_tip_back_and_the_old_way_is_easy(scene, aim):
    state = pushed(place_needle(scene, aim), 50.0)
    back = withdraw(state, 20.0)
    assert back.depth == pytest.approx(state.depth - 20.0, abs=0.06)
    assert back.cut == state.cut and back.bone is None
    again = pushed(back, 45.0)
    assert again.tip_force == 0.0
    assert push_needle(state, 1.0).peak > again.peak
    assert withdraw(state, 200.0).depth == 0.0


def test_the_dura_is_tented_then_punctured_and_the_hole_stays():
    state = pushed(flat(), 44.0 * math.sqrt(2.0) + 1.0, step=0.2, grip="braced")
    assert state.dura == TENTED and state.tented_by > 0.5
    while state.dura != PUNCTURED:
        state = push_needle(state, 0.2, grip="braced")
    assert state.counts.dural_punctures == 1
    back = withdraw(state, 20.0)
    assert back.dura == PUNCTURED and back.counts.dural_punctures == 1


def wall(x, y, z):
    """Return the distance to a slab whose back lies at y = -20."""
    return np.abs(y + 26.0) - 6.0 + 0.0 * x + 0.0 * z


@pytest.mark.parametrize("approach_deg", [60.0, 90.0])
def test_a_slab_of_bone_stops_the_needle(approach_deg):
    """Closed form: a ball of radius r meets the plane at (20 - r) / sin(angle); the bevel drifts a little."""
    packed = packed_field(wall, (-20, -60, -90), (20, 0, 60), 1.0)
    state = flat(packed, approach_deg=approach_deg)
    for _ in range(40):
        state = push_needle(state, 1.0)
    radius = state.needle.outer_radius
    assert state.depth == pytest.approx((20.0 - radius) / math.sin(radians(approach_deg)), abs=0.05)
    assert state.resistance == "bone" and state.bone.words == "the bone of L1"
    assert degrees(state.bone.lean) == pytest.approx(90.0 - approach_deg, abs=0.5)
    assert state.counts.bone_contacts == 1 and state.counts.hard_bone_contacts == 1
    assert any("bone" in words for words in push_needle(withdraw(state, 5.0), 9.0).words)
    assert (state.bone.bend > 0.5) == (approach_deg < 80.0)


def test_a_grazing_needle_slides_along_bone_and_never_into_it():
    packed = packed_field(wall, (-20, -60, -90), (20, 0, 60), 1.0)
    state = flat(packed, approach_deg=20.0)
    for _ in range(75):
        state = push_needle(state, 1.0)
        assert packed.nearest(state.tip) > state.needle.outer_radius - 0.02
    assert state.counts.slides > 0
    assert state.depth > (20.0 - state.needle.outer_radius) / math.sin(radians(20.0)) + 2.0


def test_an_ossified_flavum_stops_the_needle(anatomy, aim):
    hard = anatomy.with_pose(findings=(FlavumThickening("T12-L1", ossified=True),))
    state = place_needle(needle_scene(hard, rng=1), aim)
    for _ in range(80):
        state = push_needle(state, 1.0)
    assert state.bone.words == "the ossified ligamentum flavum at T12-L1" and state.bone.level == "T12"
    assert state.depth < check_needle(anatomy, aim).to_epidural


@pytest.mark.parametrize("depth, low, high", [(12.0, 0.75, 1.0), (50.0, 0.4, 0.65)])
def test_turning_deep_moves_the_tip_little(scene, aim, depth, low, high):
    state = pushed(place_needle(scene, aim), depth)
    turned, turn = reangle(state, radians(-10.0))
    assert turn.tip_moved == pytest.approx((state.depth - turn.pivot) * turn.reached, rel=0.02)
    # About the skin it would move by depth times angle.
    assert low < turn.tip_moved / (depth * turn.reached) < high
    assert (turn.held_by == "tissue") == (depth > 20.0)
    assert (turn.advice is None) == (turn.held_by is None)
    assert held_at(turned)[0] < held_at(state)[0]


def test_the_tip_goes_against_the_hub_and_the_pivot_stays(scene, aim):
    state = pushed(place_needle(scene, aim), 40.0)
    still = state.puncture + reangle(state, radians(4.0))[1].pivot * state.base_direction
    turned, turn = reangle(state, radians(4.0))
    line = turned.puncture + turn.pivot * turned.base_direction
    np.testing.assert_allclose(line, still, atol=1e-9)
    assert (turned.tip - state.tip) @ (turned.puncture - state.puncture) < 0.0
    assert turned.counts.redirections == 1 and len(turned.old_tracks) == 1


def test_turning_on_bone_only_bends_and_turning_back_from_it_clears_the_lamina(scene, aim):
    low = aim.with_changes(entry_z=aim.entry_z - 9.0, medial=radians(8.0))
    state = place_needle(scene, low)
    state = pushed(state, 100.0)
    assert state.bone is not None and "L1" in state.bone.words
    _, turn = reangle(state, radians(-4.0))
    assert turn.held_by == "bone" and degrees(turn.reached) <= 1.0 + 1e-9 and "pull back" in turn.advice
    freed, turn = reangle(withdraw(state, 6.0), radians(-4.0))
    assert degrees(turn.reached) > 3.0
    assert push_needle(freed, 6.0).cut > 0.0


def test_a_bevel_drifts_away_from_its_opening_and_half_a_turn_mends_it():
    straight, faces = None, []
    for bevel in (0.0, math.pi):
        state = pushed(turn_bevel(flat(x=9.0), bevel), 50.0)
        start, direction = state.track[0], state.track[1] - state.track[0]
        straight = start + 50.0 * direction / np.linalg.norm(direction)
        faces.append(state.tip - straight)
    assert 0.1 < np.linalg.norm(faces[0]) < 1.0
    np.testing.assert_allclose(faces[0], -faces[1], atol=0.05)
    # The opening faces the head: the tip drifts away from it.
    assert faces[0][2] < 0.0


def test_letting_go_takes_the_force_off(scene, aim):
    state = pushed(place_needle(scene, aim), 30.0)
    assert state.force > 1.0 and state.gauge > 0.0 and state.tone.frequency > 220.0
    free = release(state)
    assert free.force == 0.0 and free.depth == state.depth and free.gauge == 0.0


def test_the_stylet_is_part_of_the_needle(scene, aim):
    state = place_needle(scene, aim)
    assert state.stylet_inside and not stylet(state, inside=False).stylet_inside


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda s: push_needle(s, 201.0), "millimetres must lie between -200 and 200, got 201"),
        (lambda s: push_needle(s, 1.0, grip="firm"), "grip must be one of loose, steady, braced, got 'firm'"),
        (lambda s: push_needle(s, 1.0, speed=0.0), "speed must lie between 0 and 100"),
        (lambda s: withdraw(s, 0.0), "millimetres must lie between 0 and 300, got 0"),
        (lambda s: reangle(s, radians(70.0)), "must leave the needle between 5 and 90 degrees"),
        (lambda s: reangle(s, 0.0, medial_change=radians(-80.0)), "and 60 to the side"),
        (lambda s: s.mouth(), "opening must lie in the epidural space"),
    ],
)
def test_what_cannot_be_done_is_refused(scene, aim, act, words):
    state = place_needle(scene, aim)
    push_needle(state, 1.0), reangle(state, radians(3.0))
    with pytest.raises(ValueError, match=words):
        act(state)


def test_the_hub_stays_outside():
    scene = needle_scene(flat_anatomy(), rng=1)
    state = place_needle(scene, NeedleAim("T12-L1", 9.0, -60.0, radians(20.0), 0.0), needle=Needle(89.0))
    state = push_needle(push_needle(state, 50.0), 38.0)
    with pytest.raises(ValueError, match="must keep the hub out of the skin"):
        push_needle(state, 2.0)
