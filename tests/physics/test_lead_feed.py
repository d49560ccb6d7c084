"""Feeding through the mouth: lengths, nodes and memory."""

import numpy as np
import pytest

from trainer.physics.lead_feed import feed, merge_first, slide, split_first, straight_shaft
from trainer.physics.mouth import Mouth

EDGE = 1.5


@pytest.fixture
def mouth():
    return Mouth(np.array([1.0, 2.0, 3.0]), np.array([0.0, -0.6, 0.8]), np.array([0.0, 1.0, 0.0]))


@pytest.fixture
def shaft(mouth):
    return straight_shaft(mouth, length=9.0, edge=EDGE)


def numbered(shaft):
    """Return the shaft with memories that tell which node they belong to."""
    memory = shaft.memory._replace(
        station=np.arange(len(shaft.nodes), dtype=float),
        track_slip=np.tile(np.arange(len(shaft.nodes), dtype=float)[:, None], 3),
    )
    return shaft._replace(memory=memory)


def test_a_straight_shaft_begins_in_the_mouth(shaft, mouth):
    assert shaft.nodes[1] == pytest.approx(mouth.point)
    assert shaft.nodes[-1] == pytest.approx(mouth.point + 9.0 * mouth.direction)
    assert shaft.rest_lengths == pytest.approx(np.full(7, EDGE))
    assert (shaft.directors @ mouth.direction) == pytest.approx(np.zeros(7))


def test_sliding_a_straight_shaft_moves_it_along_itself(shaft, mouth):
    moved = slide(shaft, 0.7)
    assert moved.nodes[2:] == pytest.approx(shaft.nodes[2:] + 0.7 * mouth.direction)
    assert np.array_equal(moved.nodes[:2], shaft.nodes[:2])
    assert moved.rest_lengths[1] == pytest.approx(EDGE + 0.7)


def test_splitting_adds_a_node_and_no_length(shaft):
    grown = slide(numbered(shaft), 1.0)
    split = split_first(grown, EDGE)
    assert len(split.nodes) == len(shaft.nodes) + 1
    assert split.rest_lengths.sum() == pytest.approx(grown.rest_lengths.sum())
    assert np.linalg.norm(split.nodes[3] - split.nodes[2]) == pytest.approx(EDGE)
    kept = np.delete(split.memory.track_slip, 2, axis=0)
    assert kept == pytest.approx(grown.memory.track_slip)
    # Of the fat's slip it takes its share, between the mouth's none and the next node's.
    assert split.memory.track_slip[2] == pytest.approx(0.4 * split.memory.track_slip[3])
    assert split.memory.station[2] == split.memory.station[3] == 2.0


def test_merging_undoes_splitting(shaft):
    grown = slide(shaft, 1.0)
    again = merge_first(split_first(grown, EDGE))
    assert again.nodes == pytest.approx(grown.nodes)
    assert again.rest_lengths == pytest.approx(grown.rest_lengths)
    assert again.directors == pytest.approx(grown.directors)
    assert again.twist == pytest.approx(grown.twist)


def test_merging_keeps_the_total_twist(shaft):
    angles = 0.1 * np.arange(len(shaft.directors))
    first = shaft.directors[0]
    second = np.cross(shaft.nodes[-1] - shaft.nodes[1], first)
    second /= np.linalg.norm(second)
    directors = np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second
    twisted = shaft._replace(directors=directors, twist=np.diff(angles))
    assert merge_first(twisted).twist.sum() == pytest.approx(twisted.twist.sum())


def test_many_steps_keep_edges_near_the_usual_length(shaft):
    length = 9.0
    for distance in [1.0] * 12 + [-0.9] * 10 + [0.4] * 5:
        shaft, reference = feed(shaft, distance, edge=EDGE)
        length += distance
        assert len(reference) == len(shaft.nodes)
        assert 0.5 * EDGE <= shaft.rest_lengths[1] < 1.5 * EDGE
        assert shaft.rest_lengths[2:] == pytest.approx(np.full(len(shaft.rest_lengths) - 2, EDGE))
    assert shaft.rest_lengths[1:].sum() == pytest.approx(length)


def test_slip_of_a_fed_step_is_the_distance_fed(shaft, mouth):
    """Also of the node that a split has put in."""
    fed, reference = feed(shaft, 0.9, edge=EDGE)
    assert len(fed.nodes) == len(shaft.nodes) + 1
    assert (fed.nodes - reference)[2:] @ mouth.direction == pytest.approx(np.full(len(fed.nodes) - 2, 0.9))


def test_feeding_leaves_the_old_shaft_alone(shaft):
    before = [np.array(array) for array in shaft[:4]]
    feed(shaft, 1.0, edge=EDGE)
    assert all(np.array_equal(old, new) for old, new in zip(before, shaft[:4]))


def test_the_fat_stays_where_it_is_while_the_lead_slides(shaft):
    """Its slip belongs to places, not to nodes: each node takes over the slip of where it comes to."""
    with_slip = numbered(shaft)
    moved = slide(with_slip, 0.75)
    slip = moved.memory.track_slip[2:-1, 0]
    # Half an edge further on, half way to the next node's number; beyond the tip the fat is untouched.
    assert slip[:-1] == pytest.approx(np.arange(2, len(shaft.nodes) - 2) + 0.5)
    assert moved.memory.track_slip[-1] == pytest.approx(0.0)
    back = slide(moved, -0.75)
    assert back.memory.track_slip[3:-3] == pytest.approx(with_slip.memory.track_slip[3:-3])
