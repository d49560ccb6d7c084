"""Motion segments: shares of the bolster and heights of the discs, under the findings that change them."""

import pytest

from meshes import findings as f
from meshes.curve import level_poses
from meshes.levels import INTERSPACES, LEVELS
from meshes.parameters import SpineParameters
from meshes.segments import (
    bolster_flexion,
    disc_heights,
    least_disc_height,
    lordosis_extension,
    lordosis_on_bolster,
    stiff_segments,
)
from meshes.tables import loader
from meshes.units import degrees, radians

TEN = radians(10.0)


def spine(*findings, **others):
    return SpineParameters(findings=findings, **others)


def test_lumbar_segments_share_the_whole_bolster():
    flexion = bolster_flexion(spine(bolster=TEN))
    assert tuple(flexion) == LEVELS
    assert sum(bend for level, bend in flexion.items() if level[0] == "L") == pytest.approx(TEN)
    assert flexion["T12"] == pytest.approx(flexion["L1"])
    assert all(flexion[level] == 0.0 for level in LEVELS[:6])
    assert degrees(lordosis_on_bolster(spine(bolster=TEN))) == pytest.approx(40.0)


STIFF = {
    "spacer": (f.InterspinousImplant("L3-L4"), {"L3"}),
    "screws": (f.PedicleScrews("L2", "L5"), {"L2", "L3", "L4"}),
    "grown together": (f.TransitionalLevel("sacralised"), {"L5"}),
}


@pytest.mark.parametrize("name", STIFF)
def test_a_stiff_segment_does_not_bend_and_the_others_bend_as_before(name):
    finding, stiff = STIFF[name]
    free, held = bolster_flexion(spine(bolster=TEN)), bolster_flexion(spine(finding, bolster=TEN))
    assert stiff_segments((finding,)) == stiff
    assert held == {level: 0.0 if level in stiff else bend for level, bend in free.items()}
    lost = sum(free[level] for level in stiff)
    assert lordosis_on_bolster(spine(finding, bolster=TEN)) == pytest.approx(radians(40.0) + lost)


def test_a_lumbarised_level_takes_a_share_of_the_bolster():
    """The six lumbar segments and S1-S2 bend in the ratio of their ranges."""
    usual = bolster_flexion(spine(bolster=TEN))
    shared = bolster_flexion(spine(f.TransitionalLevel("lumbarised"), bolster=TEN))
    ranges = loader.numbers("alignment", "flexion_range")
    lumbar = sum(value for level, value in ranges.items() if level[0] == "L")
    more = loader.number("alignment", "transitional.first_sacral_range")
    for level, bend in usual.items():
        assert shared[level] == pytest.approx(bend * lumbar / (lumbar + more))
    left = lordosis_on_bolster(spine(f.TransitionalLevel("lumbarised"), bolster=TEN))
    assert radians(40.5) < left < radians(42.0)


def test_other_findings_leave_segments_free():
    others = (f.TransitionalLevel("lumbarised"), f.Laminectomy("L3"), f.VertebralCement("L1"))
    assert stiff_segments(others) == set()


@pytest.mark.parametrize("name", INTERSPACES)
def test_a_disc_that_has_lost_height_is_lower_and_no_other(name):
    whole, worn = disc_heights(spine()), disc_heights(spine(f.DiscHeightLoss(name, 0.4)))
    upper = name.split("-")[0]
    for level in LEVELS:
        assert worn[level] == pytest.approx(whole[level] * (0.6 if level == upper else 1.0))


def test_over_a_bolster_the_middle_of_a_disc_comes_down_a_little():
    flat, bent = disc_heights(spine()), disc_heights(spine(bolster=TEN))
    flexion, axes = bolster_flexion(spine(bolster=TEN)), loader.numbers("alignment", "axis_behind_middle")
    for level in LEVELS:
        lower = axes.get(level, 0.0) * flexion[level]
        assert flat[level] - bent[level] == pytest.approx(lower, abs=0.005)
    assert flat["L4"] - bent["L4"] > 0.3 and flat["T9"] == bent["T9"]


def test_the_middle_of_a_disc_rises_with_the_lordosis():
    rest, hollow = disc_heights(spine()), disc_heights(spine(lumbar_lordosis=radians(60.0)))
    axes, shares = (loader.numbers("alignment", key) for key in ("axis_behind_middle", "lordosis_share"))
    for level in LEVELS:
        rise = axes.get(level, 0.0) * shares.get(level, 0.0) * TEN
        assert hollow[level] - rest[level] == pytest.approx(rise, abs=0.01)
    assert lordosis_extension(spine()) == dict.fromkeys(LEVELS, 0.0)


@pytest.mark.parametrize("level", ["T12", "L1", "L2", "L3", "L4", "L5"])
def test_axes_of_flexion_lie_in_the_posterior_half_of_the_disc(level):
    """Pearcy and Bogduk, Spine 1988;13:1033-1041, from memory."""
    depth = loader.number("vertebrae", f"{level}.lower_endplate_depth")
    assert 0.0 <= loader.number("alignment", f"axis_behind_middle.{level}") <= 0.5 * depth


def test_losses_of_one_disc_and_of_all_multiply():
    worn = disc_heights(spine(f.DiscHeightLoss("L4-L5", 0.5), disc_loss=0.4))
    table = loader.number("vertebrae", "L4.disc_height")
    assert worn["L4"] == pytest.approx(0.3 * table)


def test_the_disc_of_a_sacralised_level_is_rudimentary():
    whole, grown = disc_heights(spine()), disc_heights(spine(f.TransitionalLevel("sacralised")))
    assert grown["L5"] == pytest.approx(0.5 * whole["L5"])
    assert grown["L4"] == whole["L4"]


def test_a_lost_disc_lowers_all_above_it_and_none_below():
    whole, worn = level_poses(spine()), level_poses(spine(f.DiscHeightLoss("L2-L3", 0.5)))
    for level in ("L3", "L4", "L5", "S1"):
        assert worn[level].translation == pytest.approx(whole[level].translation)
    moved = {tuple((whole[n].translation - worn[n].translation).round(9)) for n in (*LEVELS[:9],)}
    assert len(moved) == 1
    assert sum(step**2 for step in moved.pop()) ** 0.5 == pytest.approx(
        0.5 * loader.number("vertebrae", "L2.disc_height"), rel=0.01
    )


def test_the_least_height_grows_with_the_wedge_and_with_the_width():
    def least(coronal, sagittal, width=1.0):
        return least_disc_height("L4", coronal=coronal, sagittal=sagittal, width_scale=width)

    free = loader.number("alignment", "rims.free")
    assert least(0.0, 0.0) == pytest.approx(free)
    depth = loader.number("vertebrae", "L4.lower_endplate_depth")
    assert least(0.0, TEN) == pytest.approx(free + 0.5 * depth * 0.17633, abs=0.03)
    assert least(TEN, 0.0) == least(-TEN, 0.0) > least(0.0, TEN)
    assert least(TEN, 0.0, 1.1) - free == pytest.approx(1.1 * (least(TEN, 0.0) - free))
