"""One push of a needle beside the full check on the same anatomy; the house rule is 0.5 ms a push."""

import pytest

from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_push import push_needle
from trainer.physics.needle_scene import needle_scene
from trainer.physics.needle_state import place_needle


@pytest.fixture(scope="module")
def aim(anatomy):
    return aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(40.0), medial=radians(15.0), target_offset=3.0
    )


@pytest.mark.parametrize("millimetres", [0.2, 1.0, 2.0])
def test_push(benchmark, anatomy, aim, millimetres):
    state = push_needle(place_needle(needle_scene(anatomy, rng=1, hollows=()), aim), 45.0)
    assert benchmark(push_needle, state, millimetres).depth > state.depth


def test_full_check_beside_it(benchmark, anatomy, aim):
    assert benchmark(check_needle, anatomy, aim).reaches
