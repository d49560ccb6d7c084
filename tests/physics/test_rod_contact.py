"""Contact, friction and track memory one by one, where the answer is known beforehand."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from rods import tube

from trainer.physics.lead import LeadProperties, Mouth, advance, insert_lead, rotate
from trainer.physics.rod_contact import from_polyline, push
from trainer.physics.rod_solver import SolverLimits

SIDEWAYS = np.array([0.0, -0.2, 0.0])  # a load on the tip, towards the front wall [N]


def in_tube(*, canal=None, **changes):
    """Return an almost straight lead, 30 mm in a straight tube, without friction or memory unless changed."""
    plain = {"bend_angle": 0.0, "wall_friction": 0.0, "dura_friction": 0.0, "memory_force": 0.0}
    mouth = Mouth(np.array([0.0, 0.0, 5.0]), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    canal = canal or tube(radius=1e5, wall=2.0, angle=1e-4, run=60.0)
    properties = LeadProperties(**{**plain, **changes})
    lead = insert_lead(canal, mouth, properties, limits=SolverLimits(tolerance=1e-7))
    return advance(lead, 25.5)


def resting_on_the_wall(**changes):
    """Return the lead after its tip was loaded against the wall."""
    return rotate(replace(in_tube(**changes), tip_load=SIDEWAYS), 0.0)


def test_push_is_the_derivative_of_its_energy():
    linear, cubic, depth = 2.0, 0.7, 0.3
    energy = [0.5 * linear * d**2 + 0.25 * cubic * d**4 for d in (depth - 1e-6, depth + 1e-6)]
    assert push(depth, linear, cubic) == pytest.approx((energy[1] - energy[0]) / 2e-6, rel=1e-6)
    assert push(-0.1, linear, cubic) == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_distance_to_a_polyline_against_dense_sampling(seed):
    rng = np.random.default_rng(seed)
    nodes = np.cumsum(rng.normal((0.0, 0.0, 1.5), 0.3, (9, 3)), axis=0)
    point = nodes[4] + rng.normal(0.0, 1.5, 3)
    shares = np.linspace(0.0, 1.0, 2001)[:, None]
    dense = np.vstack([a + shares * (b - a) for a, b in itertools.pairwise(nodes)])
    away, distance = from_polyline(tuple(point), nodes, 4)
    offsets = point - dense
    nearest = np.linalg.norm(offsets, axis=1).argmin()
    assert distance == pytest.approx(np.linalg.norm(offsets[nearest]), abs=1e-5)
    assert away == pytest.approx(tuple(offsets[nearest] / distance), abs=2e-3)


def test_the_wall_carries_what_the_hand_and_the_bending_do_not():
    """Equilibrium of the whole lead across the tube: load, wall, and the shear at the mouth."""
    lead = resting_on_the_wall()
    wall = (lead.shaft.memory.force[:, :1] * lead.shaft.memory.normal[:, 0]).sum(0)
    cantilever = 3.0 * lead.properties.bending_stiffness / 30.0**3 * (2.0 - 0.65)
    assert lead.converged and lead.largest_overlap > 0.0
    # A tip held aside by 1.35 mm takes 3 EI d / L^3 of the load (Euler-Bernoulli); the wall bears the rest.
    assert wall[1] == pytest.approx(-SIDEWAYS[1] - cantilever, rel=0.03)


def test_the_penalty_is_pressed_in_by_force_over_stiffness():
    lead = resting_on_the_wall()
    force, depth = lead.shaft.memory.force[-1, 0], lead.depth[-1, 0]
    weight = lead.shaft.rest_lengths[-1]
    assert depth == pytest.approx(force / (weight * lead.properties.wall_stiffness), rel=1e-9)


def test_sliding_friction_is_the_coefficient_times_the_normal_force():
    """Coulomb: the hand's push changes by mu N either way of the frictionless one."""
    mu = 0.2
    lead = resting_on_the_wall()
    rubbing = replace(
        lead, setup=replace(lead.setup, properties=lead.properties.with_changes(wall_friction=mu))
    )
    forwards, backwards, free = rubbing, rubbing, lead
    for _ in range(6):
        forwards, backwards, free = advance(forwards, 0.3), advance(backwards, -0.3), advance(free, 0.3)
    for moved, sign in ((forwards, 1.0), (backwards, -1.0)):
        normal = moved.shaft.memory.force[:, 0].sum()
        assert moved.push == pytest.approx(sign * mu * normal, abs=0.1 * mu * normal)
    assert abs(free.push) < 0.02 * abs(forwards.push)


def test_scar_multiplies_friction():
    canal = tube(radius=1e5, wall=2.0, angle=1e-4, run=60.0)
    scarred = replace_scale(canal, 3.0)
    pushes = []
    for place in (canal, scarred):
        lead = replace(in_tube(canal=place, wall_friction=0.1), tip_load=SIDEWAYS)
        for _ in range(6):
            lead = advance(lead, 0.3)
        pushes.append(lead.push)
    assert pushes[1] == pytest.approx(3.0 * pushes[0], rel=0.1)


def replace_scale(canal, factor):
    """Return a copy of the tube with its friction multiplied."""
    copy = type(canal)(**vars(canal))
    copy.friction_scale = np.full_like(canal.u, factor)
    return copy


def tip_moved_by(load, **changes):
    """Return how far a node 10 mm behind the tip goes sideways under a load on the tip, in a wide tube."""
    lead = in_tube(canal=tube(radius=1e5, wall=8.0, angle=1e-4, run=60.0), **changes)
    return abs(rotate(replace(lead, tip_load=np.array([load, 0.0, 0.0])), 0.0).nodes[-8, 0])


def test_track_memory_holds_the_shaft_and_yields():
    """The fat stands a tip load of 3/8 of its whole yield, 0.56 N on 30 mm of cantilever, and no more."""
    fat = {"memory_force": 0.05, "memory_range": 0.1}
    assert tip_moved_by(0.02) > 0.5
    assert tip_moved_by(0.02, **fat) < 0.05
    assert tip_moved_by(0.8, **fat) > 0.5


def tip_turn(lead):
    """Return how far the director at the tip has turned about +z, from +y towards -x."""
    return float(np.arctan2(-lead.directors[-1, 0], lead.directors[-1, 1]))


def test_a_sticking_lead_keeps_its_lag_between_commands():
    """Friction holds back a part of a turn there and of a turn back; without it the tip follows the hub."""

    def there_and_back(friction):
        lead = replace(in_tube(wall_friction=friction, drag_torque=0.0), tip_load=0.25 * SIDEWAYS)
        there = rotate(rotate(rotate(lead, 0.0), 0.5), 0.5)
        return tip_turn(there), tip_turn(rotate(rotate(there, -0.5), -0.5))

    turned, left_over = there_and_back(0.5)
    assert turned < 0.95 and left_over > 0.01
    turned, left_over = there_and_back(0.0)
    assert turned == pytest.approx(1.0, abs=2e-3) and left_over == pytest.approx(0.0, abs=1e-3)
