"""Corridors against the outside: brute-force rays, the trade's table of lengths, and what the trade says."""

import math

import numpy as np
import pytest
import trimesh

from meshes.levels import split_interspace
from meshes.units import degrees, radians
from trainer.physics.aim import aim_at_target
from trainer.physics.corridor import corridor, map_places
from trainer.physics.corridor_ghost import axis_ends
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_axis import arrays_of
from trainer.physics.needle_check import check_needle
from trainer.physics.needle_trials import BONE, FREE, NO_ROOM, Rule, try_aims
from trainer.physics.plan import plan_needle

NEEDLE = Needle(152.0)


def grown(anatomy, levels, by):
    """Return bones as one mesh whose every vertex has moved outward `by` mm along its normal."""
    parts = []
    for level in levels:
        mesh = trimesh.Trimesh(*anatomy.bone_meshes[level], process=True)
        parts.append(trimesh.Trimesh(mesh.vertices + by * mesh.vertex_normals, mesh.faces, process=False))
    return trimesh.util.concatenate(parts)


def test_share_against_rays_on_grown_bones(anatomy):
    """Brute force: bones grown by radius and margin, and embree's first hit of each bare axis.

    Of the needles that are aimed at the interspace and long enough, as many are free of bone, needle by
    needle but for those that graze.
    """
    axes = np.linspace(0.0, 36.0, 19), np.linspace(15.0, 110.0, 39), radians(np.linspace(24.0, 60.0, 13))
    places = map_places(anatomy, "T12-L1", "left", *axes, radians(np.linspace(-5.0, 35.0, 9)))
    rule = Rule.of(NEEDLE)
    trials = try_aims(anatomy, "T12-L1", places, sign=1.0, rule=rule)
    met = np.isin(trials.code, (FREE, BONE, NO_ROOM))
    chosen = np.flatnonzero(met)[:: max(1, int(met.sum() / 1200))]
    ends = np.empty((len(chosen), 6))
    axis_ends(arrays_of(anatomy)[1], np.ascontiguousarray(places[chosen]), 1.0, ends)
    way = ends[:, 3:] - ends[:, :3]
    length = np.linalg.norm(way, axis=1)
    mesh = grown(anatomy, ("T11", "T12", "L1", "L2", "L3"), rule.radius + rule.margin)
    hits, rays, _ = mesh.ray.intersects_location(ends[:, :3], way / length[:, None], multiple_hits=False)
    first = np.full(len(chosen), np.inf)
    first[rays] = np.linalg.norm(hits - ends[rays, :3], axis=1)
    brute, mine = first >= length, trials.code[chosen] != BONE
    assert len(chosen) > 1000 and 0.03 < brute.mean() < 0.9
    assert mine.mean() == pytest.approx(brute.mean(), rel=0.05)
    assert (mine != brute).mean() < 0.02
    # Where they differ, the shaft's room is the margin itself, give or take the grids' error.
    differ = np.flatnonzero(mine != brute)
    graze = [check_needle(anatomy, _aim(places[chosen[k]]), NEEDLE).least_clearance for k in differ]
    assert not differ.size or np.abs(np.array(graze) - rule.margin).max() < 0.35


def _aim(place):
    return NeedleAim("T12-L1", *(float(value) for value in place), "left")


def test_clearances_against_signed_distances(anatomy):
    """By trimesh's exact signed distance, every 0.1 mm about the nearest place: within 0.05 mm."""
    random, errors = np.random.default_rng(3), []
    meshes = [trimesh.Trimesh(*anatomy.bone_meshes[level], process=False) for level in ("T12", "L1")]
    found = corridor(anatomy, "T12-L1", needle=NEEDLE, approach=radians([32.0, 40.0, 48.0]))
    near = np.argwhere(found.free & (found.trials.clearance < 3.5))
    for index in random.permutation(near)[:12]:
        check = check_needle(anatomy, found.aim(index), NEEDLE)
        if check.least_clearance_bone not in ("T12", "L1") or check.least_clearance > 4.0:
            continue
        at = check.least_clearance_at + np.arange(-2.0, 2.01, 0.1)
        points = check.entry + np.clip(at, 0.0, check.to_epidural)[:, None] * check.direction
        exact = min(-trimesh.proximity.signed_distance(mesh, points).max() for mesh in meshes)
        errors.append(check.least_clearance - (exact - NEEDLE.outer_radius))
    assert len(errors) >= 8 and np.abs(errors).max() <= 0.05, errors


@pytest.mark.parametrize(
    "depth, row",
    [(40, {30: (80, 69), 35: (70, 57), 40: (62, 48), 45: (57, 40), 60: (46, 23)}),
     (50, {30: (100, 87), 35: (87, 71), 40: (78, 60), 45: (71, 50), 60: (58, 29)}),
     (60, {30: (120, 104), 35: (105, 86), 40: (93, 72), 45: (85, 60), 60: (69, 35)}),
     (70, {30: (140, 121), 35: (122, 100), 40: (109, 83), 45: (99, 70), 60: (81, 40)})],
)  # fmt: skip
def test_lengths_and_entries_of_a_flat_back(depth, row):
    """Trigonometry: needle = depth / sin(angle), entry depth / tan(angle) below, printed to a millimetre."""
    from flat_back import FASCIA, flat_anatomy

    assert FASCIA == -10.0
    anatomy = flat_anatomy()
    for angle, (needle, below) in row.items():
        # The flat back's canal lies 40 mm deep; lengths scale with depth.
        aim = aim_at_target(
            anatomy, "T12-L1", side="left", approach=radians(angle), medial=0.0, target_offset=0.0
        )
        check = check_needle(anatomy, aim, NEEDLE)
        assert check.to_epidural * depth / 40.0 == pytest.approx(needle, abs=0.51)
        back = (check.epidural_entry - check.entry)[2] * depth / 40.0
        assert back == pytest.approx(below, abs=0.51)


def test_skin_angle_is_not_canal_angle(anatomy):
    """Both are told; at the usual interspaces they differ by -4 to +12 degrees, about, with the lordosis.

    Further down the skin is entered where the back is hollow, and the two differ by far more.
    """
    differ = {}
    for lordosis in (20.0, 50.0, 70.0):
        back = anatomy.with_pose(lumbar_lordosis=radians(lordosis))
        for name in ("T11-T12", "T12-L1", "L2-L3"):
            aim = aim_at_target(
                back, name, side="left", approach=radians(30.0), medial=0.0, target_offset=0.0
            )
            check = check_needle(back, aim, NEEDLE)
            assert degrees(check.angle_to_skin) == pytest.approx(30.0, abs=1e-6)
            assert check.angle_to_canal == pytest.approx(abs(check.angle_to_canal_sagittal), abs=0.02)
            differ[name, lordosis] = degrees(check.angle_to_canal_sagittal - check.angle_to_skin)
    usual = np.array([value for (name, _), value in differ.items() if name != "L2-L3"])
    assert -12.0 < usual.min() < 0.0 < usual.max() < 12.0, differ
    for name in ("T12-L1", "L2-L3"):
        rising = np.diff([differ[name, lordosis] for lordosis in (20.0, 50.0, 70.0)])
        assert (rising > 2.0).all(), differ


def test_with_scoliosis_the_midline_is_the_vertebras_own(anatomy):
    """Offsets are told from the turned and shifted vertebrae, not from x = 0."""
    curved = anatomy.with_pose(scoliosis=radians(35.0))
    aside = 0.0
    for name in ("T11-T12", "T12-L1"):
        aim = aim_at_target(curved, name, side="left", approach=radians(50.0), medial=0.0, target_offset=0.0)
        check = check_needle(curved, aim, NEEDLE)
        assert check.lateral_offset == pytest.approx(0.0, abs=1e-3)
        own = [
            curved.poses[level].inverse().apply(check.epidural_entry)[0] for level in split_interspace(name)
        ]
        # Between the two vertebrae that bound the window, on the plane that halves each.
        assert abs(np.mean(own)) < 1.5, (name, own)
        aside = max(aside, abs(check.epidural_entry[0]))
    assert aside > 3.0


def test_flatter_needs_longer_needles(anatomy):
    """Common practice: a long needle, about 152 mm, for a flat approach; a short one will not reach."""
    heavy = anatomy.with_pose(body_mass_index=38.0)
    lengths = [
        check_needle(heavy, aim_at_target(heavy, "T12-L1", side="left", approach=radians(angle),
                                          medial=radians(15.0), target_offset=3.0), NEEDLE).to_epidural
        for angle in (25.0, 30.0, 45.0)
    ]  # fmt: skip
    assert lengths[0] > lengths[1] > 89.0 and lengths[2] < lengths[1] < 149.0


def test_the_skin_is_entered_over_the_vertebra_below(anatomy):
    """Common practice: over pedicle and facet of the vertebra below, about the disc's end and the body's top.

    The best aim up to 40 degrees at the two usual interspaces: beside the midline by the pedicle's distance
    or less, from the lower vertebra's middle down to two bodies below.
    """
    for name in ("T11-T12", "T12-L1"):
        plan = plan_needle(anatomy, name, side="left", needle=NEEDLE, largest_approach=radians(40.0))
        check = check_needle(anatomy, plan.aim, NEEDLE)
        lower = split_interspace(name)[1]
        inside = anatomy.poses[lower].inverse().apply(check.entry)
        assert 8.0 < inside[0] < 25.0 and -60.0 < inside[2] < 0.0, (name, inside)
        assert 25.0 < degrees(plan.aim.approach) <= 40.0 and 5.0 < degrees(plan.aim.medial) < 25.0


def test_a_needle_slides_off_the_lower_lamina(anatomy):
    """Common practice: too low it meets the lower lamina, further up it passes, then meets the upper bone."""
    plan = plan_needle(anatomy, "T12-L1", side="left", needle=NEEDLE, largest_approach=radians(40.0))
    met = []
    for shift in (-14.0, 0.0, 14.0):
        check = check_needle(anatomy, plan.aim.with_changes(entry_z=plan.aim.entry_z + shift), NEEDLE)
        met.append((check.first_bone, check.first_bone_part))
    assert met[0][0] == "L1" and "lamina" in met[0][1]
    assert met[1] == (None, None) and met[2][0] == "T12", met
    assert math.isfinite(check.to_first_bone)
