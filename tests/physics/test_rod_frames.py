"""Transport and twist of material directors."""

import itertools
import math

import numpy as np
import pytest
from rods import straight_rod
from scipy.spatial.transform import Rotation

from trainer.physics.rod_frames import carry, joint_twist, move, transport, upright


def unit_vectors(seed, count):
    vectors = np.random.default_rng(seed).normal(size=(count, 3))
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


@pytest.mark.parametrize("seed", range(5))
def test_transport_is_the_smallest_rotation(seed):
    """Checked against scipy's Rotation about the axis t0 x t1 by the angle between them."""
    start, end, vector = unit_vectors(seed, 3)
    axis = np.cross(start, end)
    angle = math.atan2(np.linalg.norm(axis), start @ end)
    expected = Rotation.from_rotvec(angle * axis / np.linalg.norm(axis)).apply(vector)
    assert transport(tuple(start), tuple(end), tuple(vector)) == pytest.approx(tuple(expected), abs=1e-12)


def test_transport_to_itself_changes_nothing():
    start, vector = unit_vectors(7, 2)
    assert transport(tuple(start), tuple(start), tuple(vector)) == pytest.approx(tuple(vector), abs=1e-15)


def test_twist_is_the_angle_between_directors_of_a_straight_joint():
    tangent = (0.0, 0.0, 1.0)
    turned = (math.sin(-0.3), math.cos(-0.3), 0.0)
    assert joint_twist(tangent, tangent, (0.0, 1.0, 0.0), turned, 0.0) == pytest.approx(0.3)


@pytest.mark.parametrize("turns", [-2, 0, 1, 3])
def test_twist_is_unwrapped_near_the_last_one(turns):
    tangent = (0.0, 0.0, 1.0)
    near = 2.0 * math.pi * turns + 0.1
    turned = (math.sin(-0.3), math.cos(-0.3), 0.0)
    twist = joint_twist(tangent, tangent, (0.0, 1.0, 0.0), turned, near)
    assert twist == pytest.approx(2.0 * math.pi * turns + 0.3)


def test_upright_is_across_and_of_length_one():
    tangent, vector = unit_vectors(3, 2)
    result = np.array(upright(tuple(vector), tuple(tangent)))
    assert result @ tangent == pytest.approx(0.0, abs=1e-14)
    assert result @ result == pytest.approx(1.0)
    assert result @ vector > 0.0


def test_a_closed_tour_of_the_tangent_turns_the_director_by_the_solid_angle():
    """Holonomy: round an octant of the sphere the director comes back turned by pi / 2 (Gauss-Bonnet)."""
    corners = np.eye(3)[[2, 0, 1, 2]]
    directors = np.array([[1.0, 0.0, 0.0]])
    for start, end in itertools.pairwise(corners):
        carry(start[None].copy(), end[None].copy(), directors)
    assert directors[0] == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)


def test_move_spins_directors_about_their_own_edge():
    curve, _ = straight_rod(4)
    moved = type(curve)(*(np.zeros_like(a) for a in curve))
    step = np.zeros(4 * len(curve.nodes))
    step[4 * 2 + 3] = 0.4
    move(curve, step, 0.5, moved)
    assert np.array_equal(moved.nodes, curve.nodes)
    # About +z a director on +y turns towards -x.
    assert moved.directors[2] == pytest.approx([-math.sin(0.2), math.cos(0.2), 0.0])
    assert moved.twist[1:3] == pytest.approx([0.2, -0.2])
    assert moved.spin[2] == pytest.approx(0.2)
