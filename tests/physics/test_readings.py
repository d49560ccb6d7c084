"""What is read off a lead, checked against the canal's own geometry and against places laid by hand."""

from dataclasses import replace

import numpy as np
import pytest

from meshes.instruments import contact_middles
from meshes.units import radians
from trainer.physics.lead import LeadProperties, advance, insert_lead, rotate
from trainer.physics.mouth import mouth_from_placement
from trainer.physics.readings import clock_words, level_at, read_lead, redirections, region_at


@pytest.fixture(scope="module")
def lead(anatomy):
    mouth = mouth_from_placement(
        anatomy.canal, interspace="T12-L1", offset=3.0, approach=radians(32.0), medial=radians(10.0)
    )
    return advance(insert_lead(anatomy.canal, mouth), 75.5)


def laid(lead, canal, *, theta, r, stations):
    """Return a state whose free nodes lie at `theta`, `r` of the canal: geometry only, no equilibrium."""
    u = np.linspace(*stations, len(lead.nodes))
    theta, r = np.broadcast_to(theta, u.shape), np.broadcast_to(r, u.shape)
    nodes = canal.to_world(u, theta, r)
    return replace(
        lead,
        shaft=lead.shaft._replace(nodes=nodes),
        place=np.column_stack((u, theta, r)),
        fed=float(np.linalg.norm(np.diff(nodes[1:], axis=0), axis=1).sum()),
    )


def test_all_contacts_beyond_the_mouth_are_read_from_the_tip(anatomy, lead):
    reading = read_lead(lead, anatomy)
    assert [contact.number for contact in reading.contacts] == list(range(1, 9))
    assert np.all(np.diff([contact.station for contact in reading.contacts]) < 0.0)
    short = read_lead(advance(lead, -50.0), anatomy)
    assert [contact.number for contact in short.contacts] == [1, 2, 3, 4]


def test_stations_agree_with_distances_along_the_lead(anatomy, lead):
    """On the back of the canal, which is bent, the way along the lead and along its axis differ little."""
    reading = read_lead(lead, anatomy)
    along = np.array([reading.tip.station - contact.station for contact in reading.contacts])
    assert along == pytest.approx(contact_middles(LeadProperties()), rel=0.1)


def test_offset_of_the_upright_spine_is_the_x_coordinate(anatomy, lead):
    """Without scoliosis all vertebrae and the canal's axis stand in the plane x = 0."""
    reading = read_lead(lead, anatomy)
    assert reading.tip.anatomic_offset == pytest.approx(lead.nodes[-1, 0], abs=1e-6)
    assert reading.tip.axis_offset == pytest.approx(lead.nodes[-1, 0], abs=1e-6)
    assert reading.tip.cord_offset == reading.tip.axis_offset


def test_offset_is_to_the_cord_where_the_cord_is_shifted(anatomy, lead):
    shifted = replace(anatomy.canal, cord_shift=1.5)
    reading = read_lead(lead, shifted)
    assert reading.tip.cord_offset == pytest.approx(reading.tip.axis_offset - 1.5)


@pytest.mark.parametrize(
    "theta_deg,region",
    [
        (0.0, "dorsal"),
        (44.0, "dorsal"),
        (-46.0, "lateral"),
        (99.0, "lateral"),
        (101.0, "ventral"),
        (180.0, "ventral"),
    ],
)
def test_regions(theta_deg, region):
    assert region_at(radians(theta_deg)) == region
    assert region_at(-radians(theta_deg)) == region


def test_a_lead_along_the_front_is_ventral_though_it_looks_central(anatomy, lead):
    canal = anatomy.canal
    low, high = canal.station("T11"), canal.station("T9")
    ventral = laid(lead, canal, theta=np.pi, r=7.0, stations=(low, high))
    reading = read_lead(ventral, anatomy)
    assert {contact.region for contact in reading.contacts} == {"ventral"}
    assert abs(reading.tip.axis_offset) < 1e-6
    assert reading.tip.height == pytest.approx(-7.0, abs=1e-3)


def test_clearances_are_distances_to_the_chart_s_surfaces(anatomy, lead):
    """Dura: radius minus radius. Cord: against a brute-force search over points of its ellipse."""
    canal = anatomy.canal
    low, high = canal.station("T11"), canal.station("T9")
    laid_lead = laid(lead, canal, theta=0.4, r=9.0, stations=(low, high))
    contact = read_lead(laid_lead, anatomy).contacts[0]
    _, _, dura, _ = canal.radii(contact.station, contact.theta)
    assert contact.dura_clearance == pytest.approx(9.0 - dura - 0.65, abs=0.02)
    i = round(contact.station - canal.u[0])
    angle = np.linspace(0.0, 2.0 * np.pi, 20001)
    x = canal.cord_shift + canal.cord_half_width[i] * np.sin(angle)
    y = canal.cord_offset[i] + canal.cord_half_depth[i] * np.cos(angle)
    nearest = np.hypot(x - contact.axis_offset, y - contact.height).min()
    # First order: exact on the cord, within a few percent a few mm away.
    assert contact.cord_clearance == pytest.approx(nearest - 0.65, rel=0.1)


def test_there_is_no_cord_below_its_end(anatomy, lead):
    canal = anatomy.canal
    laid_lead = laid(lead, canal, theta=0.0, r=9.0, stations=(canal.station("L4"), canal.station("L3")))
    assert np.isnan(read_lead(laid_lead, anatomy).tip.cord_clearance)


@pytest.mark.parametrize("level,decimal", [("T9", 9.0), ("T12", 12.0), ("L1", 13.0)])
def test_levels_in_words_and_decimals(anatomy, level, decimal):
    canal = anatomy.canal
    _, bottom, top = next(span for span in canal.level_spans if span[0] == level)
    height = top - bottom
    assert level_at(canal, top - 0.01 * height) == (f"{level} upper third", pytest.approx(decimal + 0.01))
    assert level_at(canal, bottom + 0.5 * height) == (f"{level} middle third", pytest.approx(decimal + 0.5))
    assert level_at(canal, bottom + 0.01 * height)[0] == f"{level} lower third"


def test_discs_and_the_ends_of_the_model(anatomy):
    canal = anatomy.canal
    tops = {level: top for level, _, top in canal.level_spans}
    assert level_at(canal, tops["T9"] + 1.0) == ("T8-T9 disc", 9.0)
    words, decimal = level_at(canal, tops["T6"] + 1.0)
    assert words == "above T6" and np.isnan(decimal)
    assert level_at(canal, -50.0)[0] == f"below {canal.levels[0]}"


@pytest.mark.parametrize(
    "turn_deg,words",
    [
        (0.0, "12:00"),
        (90.0, "3:00"),
        (180.0, "6:00"),
        (-90.0, "9:00"),
        (45.0, "1:30"),
        (370.0, "12:20"),
        (-1.0, "11:58"),
    ],
)
def test_the_clock_runs_clockwise_for_the_turning_hand(turn_deg, words):
    assert clock_words(radians(turn_deg)) == words


def test_at_three_o_clock_the_bend_points_to_the_patient_s_right(anatomy, lead):
    """Patient prone, hand behind the lead: 3 is the patient's right, which is -x."""
    turned = lead
    for _ in range(8):
        turned = advance(rotate(turned, radians(11.25)), 1.0)
    reading = read_lead(turned, anatomy)
    assert reading.clock == "3:00"
    assert reading.clock_angle == pytest.approx(radians(90.0))
    assert turned.directors[-1][0] < -0.5
    assert reading.bend_angle < 0.0
    back = read_lead(rotate(turned, radians(-180.0)), anatomy)
    assert back.clock == "9:00" and back.clock_angle == pytest.approx(radians(-90.0))


def test_dents_are_told_apart_by_the_distance_from_the_mouth(anatomy, lead):
    reading = read_lead(lead, anatomy)
    depth = np.array(lead.depth)
    assert max(reading.dent_near_mouth, reading.dent_elsewhere) == pytest.approx(lead.largest_dent)
    near, far = int(np.argmax(lead.distances > 5.0)), len(depth) - 2
    depth[:, 1] = -1.0
    depth[near, 1], depth[far, 1] = 4.6, 2.4
    reading = read_lead(replace(lead, depth=depth), anatomy)
    assert (reading.dent_near_mouth, reading.dent_elsewhere) == (4.6, 2.4)
    assert reading.warnings == ("the lead dents the dura by 4.6 mm near the needle's mouth",)
    depth[near, 1], depth[far, 1] = 4.4, 2.6
    reading = read_lead(replace(lead, depth=depth), anatomy)
    assert reading.warnings == ("the lead dents the dura by 2.6 mm along its way",)


def foramen_between(canal, upper):
    """Return the station of the widest opening below a vertebra, and its radius beyond the closed wall."""
    marks = next(space for space in canal.interspaces.values() if space.upper == upper)
    u = np.linspace(marks.disc_caudal - 6.0, marks.disc_cranial + 6.0, 40)
    theta = np.linspace(radians(75.0), radians(120.0), 40)
    _, closed, _, wall = canal.radii(u[:, None], theta)
    i, j = np.unravel_index(np.argmax(wall - closed), wall.shape)
    return u[i], theta[j], closed[i, j], wall[i, j]


@pytest.mark.parametrize("side,word", [(1.0, "left"), (-1.0, "right")])
def test_a_tip_in_a_foramen_is_named_by_side_and_level(anatomy, lead, side, word):
    canal = anatomy.canal
    u, theta, closed, wall = foramen_between(canal, "T10")
    assert wall - closed > 3.0
    place = np.array(lead.place)
    place[2:] = (u, 0.0, 9.0)
    place[-1] = (u, side * theta, closed + 2.5)
    out = read_lead(replace(lead, place=place), anatomy).foramen
    assert out.side == word and out.tip_out
    assert out.depth == pytest.approx(2.5, abs=1e-6)
    assert "T10" in out.level or "T11" in out.level
    assert word in str(out) and "the tip" in str(out)
    place[-1] = (u, side * theta, closed + 1.0)
    assert read_lead(replace(lead, place=place), anatomy).foramen is None


def test_a_held_turn_leaves_through_the_side_and_is_noticed(anatomy, lead):
    """Common practice: a lead kept turned to one side runs lateral; withdrawing it clears the warning."""
    turned = rotate(lead, radians(-90.0))
    reading = read_lead(turned, anatomy)
    for _ in range(60):
        turned = advance(turned, 1.0)
        reading = read_lead(turned, anatomy)
        if reading.tip.region != "dorsal":
            break
    assert reading.tip.region == "lateral" and reading.tip.axis_offset > 3.0
    assert read_lead(advance(turned, -45.0), anatomy).tip.region == "dorsal"


def test_excess_length_is_what_the_tip_did_not_gain(anatomy, lead):
    reading = read_lead(lead, anatomy)
    mouth = anatomy.canal.to_chart(lead.mouth.point)[0]
    assert reading.excess_length == pytest.approx(lead.fed - (reading.tip.station - mouth))
    assert 0.0 < reading.excess_length < 5.0


def test_an_unconverged_state_warns(anatomy, lead):
    reading = read_lead(replace(lead, converged=False), anatomy)
    assert not reading.converged and "do not trust" in reading.warnings[-1]
    assert read_lead(lead, anatomy).converged


def test_the_canal_alone_can_be_read(anatomy, lead):
    assert read_lead(lead, anatomy.canal).tip == read_lead(lead, anatomy).tip


def test_redirections_are_changes_of_side_and_not_turns():
    assert redirections([]) == 0
    assert redirections(radians(a) for a in (90, 60, 10, 45)) == 0
    assert redirections(radians(a) for a in (90, 0, -45, -90, 180, 100)) == 2
