"""A lead in the canal of the ordinary adult: what it does, and what it promises.

The canal, the tissue and so the figures are ours; directions of behaviour are common practice.
"""

import hashlib
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rods import tube

from meshes.units import degrees, radians
from trainer.physics.lead import LeadProperties, Mouth, advance, insert_lead, rotate, settle_on
from trainer.physics.mouth import mouth_from_placement
from trainer.physics.readings import bend_angle
from trainer.physics.rod_solver import SolverLimits

RIGHT_ANGLE = radians(90.0)
ONE_STEP = SolverLimits(iterations=1)


def mouth_at(anatomy, *, offset=0.0, medial_deg=0.0, approach_deg=32.0):
    return mouth_from_placement(
        anatomy.canal,
        interspace="T12-L1",
        offset=offset,
        approach=radians(approach_deg),
        medial=radians(medial_deg),
    )


@pytest.fixture(scope="module")
def central(anatomy):
    """Return a lead from the midline, 40 mm in."""
    return advance(insert_lead(anatomy.canal, mouth_at(anatomy)), 35.5)


def offset(anatomy, lead):
    _, theta, r = anatomy.canal.to_chart(lead.nodes[-1])
    return float(r * np.sin(theta))


def travelled(anatomy, lead, millimetres):
    """Return the tip's offsets after each millimetre."""
    offsets = []
    for _ in range(millimetres):
        lead = advance(lead, 1.0)
        offsets.append(offset(anatomy, lead))
    return np.array(offsets)


def test_insertion(anatomy):
    lead = insert_lead(anatomy.canal, mouth_at(anatomy))
    assert lead.converged and lead.fed == 4.5
    assert lead.nodes[1] == pytest.approx(lead.mouth.point)
    assert lead.distances[-1] == pytest.approx(4.5)


def test_a_central_lead_stays_central_and_dorsal(anatomy, central):
    """Common practice: a straight midline entry runs up the midline by itself."""
    lead = advance(central, 90.0)
    _, theta, r = anatomy.canal.to_chart(lead.nodes[2:])
    assert abs(r * np.sin(theta)).max() < 1.0
    assert abs(theta).max() < radians(45.0)
    assert 0.1 < lead.push < 1.0


def test_a_positive_turn_sends_the_bend_to_the_right_and_it_shows_late(anatomy, central):
    """Clockwise for the hand behind the prone patient; it shows after 8 to 20 mm (common practice)."""
    turned = rotate(central, RIGHT_ANGLE)
    assert bend_angle(turned, anatomy.canal) < radians(-15.0)
    offsets = travelled(anatomy, turned, 30)
    shows = int(np.argmax(np.abs(offsets - offsets[0]) > 2.0)) + 1
    assert offsets[-1] < -2.0
    assert 8 <= shows <= 20


def test_a_shaft_laid_aside_stays_there(anatomy, central):
    """Common practice: a lead keeps the side on which it was laid, while its tip is led back."""
    lead = rotate(central, -RIGHT_ANGLE)
    while offset(anatomy, lead) < 3.5:
        lead = advance(lead, 1.0)
    laid = lead.place[-1, 0] - 1.0
    lead = advance(rotate(lead, RIGHT_ANGLE), 40.0)
    offsets = lead.place[2:, 2] * np.sin(lead.place[2:, 1])
    assert np.interp(laid, lead.place[2:, 0], offsets) > 3.0
    assert abs(offsets[-1]) < 2.5


def test_feeding_lets_the_needle_give_back_its_hold(central):
    """The drag acts against the whole slip: a shaft that slides in is hardly held against turning."""
    turned = rotate(central, RIGHT_ANGLE)
    assert abs(turned.drag_slip) == pytest.approx(turned.properties.drag_range)
    fed = advance(turned, 3.0)
    assert fed.drag_slip == 0.0
    assert fed.spin > turned.spin + 0.2


def test_opposite_turns_mirror(anatomy, central):
    right = travelled(anatomy, rotate(central, RIGHT_ANGLE), 30)
    left = travelled(anatomy, rotate(central, -RIGHT_ANGLE), 30)
    assert abs(left[-1]) > 2.0
    assert left == pytest.approx(-right, abs=0.1)


def test_mirrored_commands_give_the_mirror_image():
    """In a canal that is its own mirror image, to rounding: no side is preferred."""
    mouth = Mouth(np.array([0.0, 0.3, 5.0]), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    one = other = insert_lead(tube(radius=60.0, wall=4.0, dura=1.5), mouth)
    for distance, turn in [(20.0, 0.7), (15.0, -0.4), (-6.0, 0.5), (25.0, 0.2)]:
        one = rotate(advance(one, distance), turn)
        other = rotate(advance(other, distance), -turn)
    assert abs(one.nodes[-1, 0]) > 1.0
    assert one.nodes * [-1.0, 1.0, 1.0] == pytest.approx(other.nodes, abs=1e-9)


def test_friction_makes_the_tip_lag_and_a_frictionless_lead_follow(anatomy, central):
    free = LeadProperties(wall_friction=0.0, dura_friction=0.0, drag_torque=0.0, memory_force=0.0)
    straight = advance(insert_lead(anatomy.canal, mouth_at(anatomy), free), 35.5)
    followed = abs(bend_angle(rotate(straight, radians(30.0)), anatomy.canal))
    lagged = abs(bend_angle(rotate(central, radians(30.0)), anatomy.canal))
    assert lagged < 0.8 * followed
    # Free to turn, it shows what the shaft outside and the wall's shape leave of the turn.
    assert degrees(followed) == pytest.approx(30.0, abs=8.0)


def test_a_steep_needle_dents_more_and_pushes_harder(anatomy, central):
    """Common practice: at 60 degrees the lead has to turn hard at the mouth."""
    steep = advance(insert_lead(anatomy.canal, mouth_at(anatomy, approach_deg=60.0)), 35.5)
    assert steep.largest_dent > central.largest_dent + 1.0
    assert steep.push > central.push


def test_withdrawing_brings_the_tip_back(anatomy, central):
    lead = advance(advance(central, 20.0), -20.0)
    assert lead.fed == pytest.approx(central.fed)
    # Pulled, it lies nearer to the sac than pushed: friction has changed sides.
    assert np.linalg.norm(lead.nodes[-1] - central.nodes[-1]) < 2.0
    assert lead.converged


def test_states_are_values(central):
    """A command leaves its argument alone, and nobody can write into a state."""
    nodes, fed, hub = central.nodes.copy(), central.fed, central.hub
    advance(central, 3.0), advance(central, -3.0), rotate(central, 1.0)
    assert np.array_equal(central.nodes, nodes) and (central.fed, central.hub) == (fed, hub)
    for array in (central.nodes, central.directors, central.depth, central.shaft.memory.slip):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


def test_the_lead_does_not_stretch(central):
    lengths = np.linalg.norm(np.diff(central.nodes, axis=0), axis=1)
    assert lengths == pytest.approx(central.shaft.rest_lengths, rel=1e-3)


def test_two_leads_keep_apart(anatomy):
    """The second is steered at the first, which does not give way; they touch and hardly overlap."""
    first = advance(insert_lead(anatomy.canal, mouth_at(anatomy, offset=1.5, medial_deg=5.0)), 60.0)
    mouth = mouth_at(anatomy, offset=-2.5, medial_deg=12.0)
    second = insert_lead(anatomy.canal, mouth, neighbour=first)
    least = np.inf
    for _ in range(30):
        second = advance(second, 2.0)
        least = min(least, float(second.gap[2:].min()))
    assert -0.06 < least < 0.5
    alone = insert_lead(anatomy.canal, mouth)
    assert np.isinf(alone.gap).all()


def test_a_step_cut_short_is_marked(anatomy, central):
    hasty = insert_lead(anatomy.canal, mouth_at(anatomy), limits=ONE_STEP)
    assert not hasty.converged
    assert not advance(hasty, 1.0).converged
    assert advance(central, 1.0).converged


def test_a_step_cut_short_is_carried_on(anatomy, central):
    """Few Newton steps a frame end where many at once do; a lead at rest stays as it is."""
    hasty = replace(central, setup=replace(central.setup, limits=SolverLimits(iterations=3)))
    turned, frames = rotate(hasty, RIGHT_ANGLE), 1
    assert not turned.converged and turned.residual > SolverLimits().tolerance
    while not turned.converged and frames < 40:
        turned, frames = settle_on(turned), frames + 1
    at_once = rotate(central, RIGHT_ANGLE)
    assert frames > 1 and at_once.converged
    assert turned.nodes == pytest.approx(at_once.nodes, abs=0.1)
    assert settle_on(turned) is turned


def test_no_frame_spends_more_newton_steps_than_its_limit(central):
    snapped = rotate(central, 4.0 * RIGHT_ANGLE)
    assert snapped.iterations <= central.setup.limits.iterations == 40
    assert advance(snapped, 1.0).iterations <= 40


def test_a_command_of_many_steps_waits_between_them(anatomy):
    """Each millimetre is given time to come to rest before the next is fed; one that is not marks all."""
    hasty = insert_lead(anatomy.canal, mouth_at(anatomy), limits=SolverLimits(iterations=6))
    assert advance(hasty, 30.0).largest_overlap < 0.05
    assert not advance(replace(hasty, setup=replace(hasty.setup, limits=ONE_STEP)), 30.0).converged


@pytest.mark.parametrize("millimetres", [-40.0, 700.0, float("nan")])
def test_a_lead_can_be_neither_pulled_out_nor_used_up(central, millimetres):
    with pytest.raises(ValueError, match="millimetres must leave 4 to 600 mm beyond the mouth"):
        advance(central, millimetres)
    assert advance(central, -35.0).fed == pytest.approx(5.0)


def test_a_turn_must_be_a_number(central):
    with pytest.raises(ValueError, match="angle must be a number, got inf"):
        rotate(central, float("inf"))
    assert rotate(central, 0.1).hub == pytest.approx(0.1)


def test_a_mouth_beyond_the_model_is_refused(anatomy):
    mouth = mouth_at(anatomy)
    far = Mouth(mouth.point + np.array([0.0, 0.0, 400.0]), mouth.direction, mouth.up)
    with pytest.raises(ValueError, match="mouth must lie between stations"):
        insert_lead(anatomy.canal, far)


def test_without_a_canal_the_lead_is_straight_but_for_its_pre_bend():
    """Free space: the tip turns towards `up` by the pre-bend's angle, less half a joint at its end."""
    mouth = Mouth(np.zeros(3), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    lead = advance(insert_lead(None, mouth), 40.0)
    edge = lead.nodes[-1] - lead.nodes[-2]
    assert degrees(np.arctan2(edge[1], edge[2])) == pytest.approx(15.0, abs=1.0)
    assert lead.nodes[:20, 1] == pytest.approx(np.zeros(20), abs=1e-3)
    assert lead.push == pytest.approx(0.0, abs=1e-6)


SCRIPT = """
import sys, hashlib
sys.path[:0] = sys.argv[1:]
from test_lead import handled
print(handled())
"""


def handled():
    """Return the hash of a lead after some handling, in a canal that needs no anatomy."""
    mouth = Mouth(np.array([0.0, 0.3, 5.0]), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    lead = insert_lead(tube(radius=60.0, wall=4.0, dura=1.5), mouth)
    for distance, turn in [(20.0, 0.7), (15.0, -1.5), (-6.0, 3.0), (25.0, 0.2)]:
        lead = rotate(advance(lead, distance), turn)
    arrays = (lead.nodes, lead.directors, lead.depth, *lead.shaft.memory)
    return hashlib.sha256(b"".join(np.ascontiguousarray(a).tobytes() for a in arrays)).hexdigest()


def test_the_same_commands_give_the_same_bytes_in_another_process():
    tests = Path(__file__).resolve().parents[1]
    folders = [str(tests.parent), str(tests), str(tests / "physics")]
    runs = [
        subprocess.run([sys.executable, "-c", SCRIPT, *folders], capture_output=True, text=True, check=True)
        for _ in range(2)
    ]
    hashes = {run.stdout.strip() for run in runs}
    assert hashes == {handled()}
