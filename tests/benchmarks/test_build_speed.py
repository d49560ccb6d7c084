"""How fast is a body: from nothing, from disk, in another posture, with joints that give way.

`python -m pytest tests/benchmarks/test_build_speed.py --benchmark-enable`. Beside general-purpose libraries:
the grid of one bone in test_distance_speed.py.
"""

import pytest

from meshes import cache
from meshes.anatomy import build_anatomy
from meshes.bones import build_bones
from meshes.levels import COLUMN
from meshes.parameters import SpineParameters
from meshes.units import radians

SLIDER = 1.4  # [mm] the pitch while a slider of the shape moves


@pytest.fixture
def nothing_on_disk(monkeypatch):
    monkeypatch.setattr(cache, "load", lambda path: None)
    monkeypatch.setattr(cache, "store", lambda path, arrays: False)


@pytest.mark.benchmark(group="bones of the whole column")
@pytest.mark.parametrize("pitch", [0.8, SLIDER])
def test_bones_from_nothing(benchmark, nothing_on_disk, pitch):
    bones = benchmark.pedantic(build_bones, kwargs={"pitch": pitch}, rounds=3)
    assert tuple(bones) == COLUMN


@pytest.mark.benchmark(group="bones of the whole column")
def test_bones_from_disk(benchmark, anatomy):
    bones = benchmark.pedantic(build_bones, rounds=5)
    assert len(bones["L1"].faces) == len(anatomy.bones["L1"].faces)


@pytest.mark.benchmark(group="another posture")
def test_bones_moved(benchmark, anatomy):
    moved = benchmark(lambda: anatomy.with_pose(lumbar_lordosis=radians(60.0)).packed)
    assert moved.values is anatomy.packed.values


@pytest.mark.benchmark(group="another posture")
def test_bones_moved_and_canal_charted(benchmark, anatomy):
    canal = benchmark(lambda: anatomy.with_pose(lumbar_lordosis=radians(60.0)).canal)
    assert canal.station("T9") > canal.station("L1")


@pytest.mark.benchmark(group="joints that give way")
@pytest.mark.parametrize("degrees", [45.0, 75.0])
def test_joints_of_a_posture(benchmark, anatomy, nothing_on_disk, degrees):
    moved = anatomy.with_pose(lumbar_lordosis=radians(degrees))
    settled = benchmark.pedantic(moved.settled, rounds=2)
    assert (settled is moved) == (degrees < 60.0)


@pytest.mark.benchmark(group="whole body")
def test_anatomy_and_canal_from_nothing_in_a_hard_case(benchmark, nothing_on_disk):
    hard = SpineParameters(scoliosis=radians(30.0), disc_loss=0.4)
    built = benchmark.pedantic(lambda: build_anatomy(hard, pitch=SLIDER).canal, rounds=1)
    assert built.levels == COLUMN[::-1]
