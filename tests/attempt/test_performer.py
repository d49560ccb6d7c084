"""The reference performer reaches the target of both built-in cases, and only through events."""

import numpy as np
import pytest

from meshes.units import radians
from scenarios import library
from trainer.attempt.attempt import Attempt
from trainer.attempt.events import AdvanceLead, PassLead, ReadItem, SetCArm, TakePicture, TurnLead
from trainer.attempt.performer import perform
from trainer.attempt.performer_habits import Habits
from trainer.physics.readings import read_lead

# Length of the contact array: what has to lie dorsal (as in the design's own trials).
ARRAY = 53.0


@pytest.fixture(scope="session")
def heavy():
    """Return a finished attempt at the heavy adult and what the performer did."""
    attempt = Attempt(library.load("heavy-adult"))
    return attempt, perform(attempt)


@pytest.fixture(params=["ordinary", "heavy"])
def done(request, finished, heavy):
    """Return (attempt, performance) of each built-in case."""
    return (finished.attempt, finished.performance) if request.param == "ordinary" else heavy


def test_the_lead_reaches_the_top_of_the_target_level(done):
    attempt, performance = done
    spans = {level: top for level, _, top in attempt.anatomy.canal.level_spans}
    station, theta, radius = attempt.anatomy.canal.to_chart(attempt.state.lead.nodes[-1])
    task = attempt.scenario.task
    wanted = task.target_offset_mm if task.side == "left" else -task.target_offset_mm
    assert performance.reached
    assert attempt.state.phase == "debrief"
    assert abs(station - spans[task.target_level]) <= 2.0
    assert abs(radius * np.sin(theta) - wanted) <= 2.0
    assert attempt.state.lead.converged


def test_the_contacts_lie_dorsal(done):
    attempt, _ = done
    reading = read_lead(attempt.state.lead, attempt.anatomy)
    assert len(reading.contacts) == attempt.state.lead.properties.contacts
    assert {contact.region for contact in reading.contacts} == {"dorsal"}
    lead = attempt.state.lead
    distal = lead.nodes[lead.distances >= lead.fed - ARRAY]
    assert np.abs(attempt.anatomy.canal.to_chart(distal)[1]).max() < np.pi / 4.0


def test_it_works_like_a_careful_hand(done):
    attempt, performance = done
    state = attempt.state
    assert state.dural_punctures == 0
    assert state.placement.touched_bone is None
    assert state.check.verdict == "passes"
    assert performance.redirections <= 6
    assert performance.needles <= 2
    # It reads first, looks before the needle goes in, and from both sides in the end.
    assert isinstance(attempt.events[0], ReadItem)
    assert isinstance(attempt.events[-2], TakePicture)
    poses = [event.orbit for event in attempt.events if isinstance(event, SetCArm)]
    assert poses[-1] == pytest.approx(np.pi / 2.0)
    assert abs(poses[-2]) < 0.2


def test_its_own_count_is_that_of_the_events(done):
    attempt, performance = done
    fed = [event.millimetres for event in attempt.events if isinstance(event, AdvanceLead)]
    assert sum(map(abs, fed)) == performance.travel
    assert sum(isinstance(event, PassLead) for event in attempt.events) == performance.needles
    assert (performance.turns > 0) == any(isinstance(event, TurnLead) for event in attempt.events)


def test_the_same_seed_gives_the_same_attempt(finished):
    again = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    assert perform(again) == finished.performance
    assert [one.digest for one in again.done] == [one.digest for one in finished.attempt.done]


def test_another_seed_reads_the_pictures_differently(finished):
    other = Attempt(finished.attempt.scenario, seed=5, anatomy=finished.attempt.anatomy)
    perform(other)
    assert other.events != finished.attempt.events


def test_it_withdraws_when_the_lead_drifts_off(finished):
    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    # A hand that turns the wrong way drives the lead to the side.
    performance = perform(attempt, habits=Habits(gain=radians(-18.0), longest_feed=250.0, most_needles=1))
    fed = [event.millimetres for event in attempt.events if isinstance(event, AdvanceLead)]
    assert performance.withdrawals >= 1
    assert sum(moved < 0.0 for moved in fed) >= 10 * performance.withdrawals
    back = (isinstance(event, AdvanceLead) and event.millimetres < 0.0 for event in attempt.events)
    first = list(back).index(True)
    tips = [
        attempt.anatomy.canal.to_chart(done.state.lead.nodes[-1])
        for done in attempt.done[first - 1 : first + 12]
    ]
    assert abs(tips[-1][1]) < abs(tips[0][1])


def test_it_gives_up_and_says_so(finished):
    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    performance = perform(attempt, habits=Habits(longest_feed=20.0, most_needles=2))
    assert not performance.reached
    assert performance.needles == 2
    assert attempt.state.phase == "debrief"
    assert attempt.state.needle_passes == 2
