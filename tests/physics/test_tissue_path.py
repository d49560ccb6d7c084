"""Which tissues a line meets: on a back whose layers are known, and beside the needle's own check."""

import math

import numpy as np
import pytest
from flat_back import DURA, ENTRY, FASCIA, flat_anatomy

from meshes.tables.loader import number
from meshes.units import radians
from trainer.physics import tissue_layers as t
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import axis_from_skin
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_scene import FAR_POCKET, needle_scene
from trainer.physics.tissue_path import trace_tissue


def traced(scene, axis, stop=114.0):
    starts, codes = trace_tissue(scene.layers, scene.chart, scene.marks, axis, 0.0, stop)
    return {int(code): float(start) for start, code in reversed(list(zip(starts, codes)))}


@pytest.mark.parametrize("approach_deg", [30.0, 45.0, 70.0])
def test_flat_layers_begin_at_depth_over_sine(approach_deg):
    """Closed form: a layer begins `depth` / sin(angle) along the needle."""
    scene, sine = needle_scene(flat_anatomy(), rng=0, hollows=()), math.sin(radians(approach_deg))
    line = axis_from_skin(scene.layers[0], scene.layers[3], 0.0, -60.0, 1.0, radians(approach_deg), 0.0)
    found = traced(scene, line[:6])
    wanted = {t.SKIN: 0.0, t.FAT: 2.0, t.FASCIA: -FASCIA, t.INTERSPINOUS: -FASCIA + 0.8}
    wanted |= {t.EPIDURAL: -ENTRY, t.DURA: -DURA}
    assert found.keys() >= wanted.keys()
    for code, depth in wanted.items():
        assert found[code] * sine == pytest.approx(depth, abs=5e-4), t.NAMES[code]
    thickness = number("tissue", "dura.thickness")
    assert found[t.FLUID] - found[t.DURA] == pytest.approx(thickness, abs=1e-6)


@pytest.mark.parametrize("interspace", ["T11-T12", "T12-L1", "L2-L3"])
def test_layers_agree_with_the_needle_check(anatomy, interspace):
    aim = aim_at_target(
        anatomy, interspace, side="left", approach=radians(40.0), medial=radians(15.0), target_offset=3.0
    )
    check = check_needle(anatomy, aim)
    found = traced(needle_scene(anatomy, rng=2), tuple(float(v) for v in (*check.entry, *check.direction)))
    assert found[t.FASCIA] == pytest.approx(check.to_fascia, abs=1e-3)
    assert found[t.FLAVUM] == pytest.approx(check.to_flavum, abs=1e-3)
    assert found[t.EPIDURAL] == pytest.approx(check.to_epidural, abs=1e-3)
    assert found[t.DURA] == pytest.approx(check.to_dura, abs=1e-3)
    assert t.MUSCLE in found


def test_a_midline_cleft_leaves_no_flavum_and_a_side_path_keeps_it(anatomy):
    parted = anatomy.with_pose(flavum_gaps=("T12-L1",))
    scene = needle_scene(parted, rng=0, hollows=())
    for offset, there, missing in ((0.0, t.POCKET, t.FLAVUM), (4.0, t.FLAVUM, t.POCKET)):
        aim = aim_at_target(
            parted, "T12-L1", side="left", approach=radians(70.0), medial=0.0, target_offset=offset
        )
        check = check_needle(parted, aim)
        found = traced(scene, tuple(float(v) for v in (*check.entry, *check.direction)))
        just_before = check.to_epidural - 0.5
        names = [
            code for code, start in sorted(found.items(), key=lambda item: item[1]) if start <= just_before
        ]
        assert names[-1] == there and missing not in names, offset


def test_the_same_seed_is_the_same_patient(anatomy):
    one, two, other = (needle_scene(anatomy, rng=seed) for seed in (3, 3, 4))
    assert np.array_equal(one.grain, two.grain) and np.array_equal(one.marks[0], two.marks[0])
    assert not np.array_equal(one.grain, other.grain)


def test_hollows_are_drawn_or_named(anatomy):
    def having(**chosen):
        spaces = needle_scene(anatomy, **chosen).marks[0]
        return [name for name, row in zip(anatomy.canal.interspaces, spaces) if row[FAR_POCKET] > 0.0]

    assert having(rng=1, hollows=()) == [] and having(rng=1, hollows=("T12-L1",)) == ["T12-L1"]
    drawn = [len(having(rng=seed)) / len(anatomy.canal.interspaces) for seed in range(20)]
    assert np.mean(drawn) == pytest.approx(number("tissue", "pocket.chance"), abs=0.12)


def test_scar_mixes_the_flow_figures_of_fat_and_scar():
    fat, mixed, scar = (t.opening_into(t.EPIDURAL, scar=share) for share in (0.0, 0.5, 1.0))
    assert mixed.resistance == pytest.approx(math.sqrt(fat.resistance * scar.resistance), rel=1e-12)
    assert scar.resistance == pytest.approx(t.opening_into(t.SCAR).resistance, rel=1e-12)
