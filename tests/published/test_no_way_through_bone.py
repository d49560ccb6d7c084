"""Random pushes, pulls and turns: no needle ever passes bone. Checked against other libraries' geometry."""

import numpy as np
import pytest
import trimesh

from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.needle_push import push_needle, withdraw
from trainer.physics.needle_scene import needle_scene
from trainer.physics.needle_state import place_needle
from trainer.physics.needle_track import place_on
from trainer.physics.needle_turn import reangle, turn_bevel

SPACES = ("T10-T11", "T11-T12", "T12-L1", "L1-L2", "L2-L3")
BONES = ("T9", "T10", "T11", "T12", "L1", "L2", "L3", "L4")
ACTS = 40  # with one needle
SLACK = 0.06  # [mm] what grid, sliding and drift may take from the radius of the shaft


def random_needle(scene, rng):
    """Return a needle set on the skin near where it would pass, mostly badly aimed."""
    aim = aim_at_target(
        scene.anatomy,
        str(rng.choice(SPACES)),
        side=str(rng.choice(["left", "right"])),
        approach=radians(rng.uniform(25.0, 70.0)),
        medial=radians(rng.uniform(-5.0, 30.0)),
        target_offset=float(rng.uniform(-2.0, 6.0)),
    )
    return place_needle(
        scene,
        aim.with_changes(entry_x=aim.entry_x + rng.normal(0, 5.0), entry_z=aim.entry_z + rng.normal(0, 8.0)),
        grip=str(rng.choice(["loose", "steady", "braced"])),
    )


def random_act(state, rng):
    kind = rng.integers(10)
    if kind < 7:
        step = float(rng.choice([0.2, 1.0, 2.0, 5.0, 15.0]))
        return push_needle(state, min(step, max(state.needle.length - state.depth - 0.1, 0.01)))
    if kind == 7 and state.depth > 0.5:
        return withdraw(state, float(rng.uniform(0.2, 10.0)))
    if kind == 8:
        return turn_bevel(state, float(rng.uniform(0.0, 6.0)))
    try:
        change = radians(rng.uniform(-6.0, 6.0, 2))
        return reangle(state, float(change[0]), medial_change=float(change[1]))[0]
    except ValueError as refusal:
        assert "must leave the needle between" in str(refusal)
        return state


def axis_points(state, spacing=0.4):
    """Return points (n, 3) along the axis of the shaft from the skin to the tip."""
    depths = np.linspace(0.0, state.depth, int(state.depth / spacing) + 2)
    return np.array([place_on(state.track, depth)[0] for depth in depths])


def advances(anatomy, *, count, rng):
    """Do `count` random acts; return how many ended on bone, and the least room about the axis. [mm]"""
    bones = trimesh.util.concatenate(
        [trimesh.Trimesh(*anatomy.bone_meshes[level], process=False) for level in BONES]
    )
    scene, rng = needle_scene(anatomy, rng=rng), np.random.default_rng(rng)
    touched, least = 0, np.inf
    for _ in range(count // ACTS):
        state = random_needle(scene, rng)
        for _ in range(ACTS):
            state = random_act(state, rng)
            touched += state.bone is not None
            points = axis_points(state)
            least = min(least, float(anatomy.packed.nearest(points).min()) - state.needle.outer_radius)
            assert not bones.contains(points).any()
    return touched, least


def test_four_hundred_random_acts(anatomy):
    touched, least = advances(anatomy, count=400, rng=11)
    assert touched > 40 and least > -SLACK


@pytest.mark.sweep
def test_ten_thousand_random_acts(anatomy):
    touched, least = advances(anatomy, count=10_000, rng=12)
    assert touched > 1000 and least > -SLACK
