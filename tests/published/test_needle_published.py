"""Needle and soft tissue against the outside: published depths, and exact distances of general libraries."""

import numpy as np
import pytest
import trimesh

from meshes.soft_tissue import window_centre
from meshes.tables.loader import table
from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.corridor import corridor
from trainer.physics.needle import Needle, NeedleAim
from trainer.physics.needle_axis import SURE
from trainer.physics.needle_check import check_needle

COARSE = {"lateral": np.linspace(0.0, 36.0, 13), "caudal": np.linspace(15.0, 120.0, 36)}
TURNS = radians(np.linspace(0.0, 30.0, 7))


@pytest.mark.parametrize(
    "body_mass_index, printed",
    [(20.0, "37.4"), (25.0, "42.2"), (30.0, "47.1"), (35.0, "52.0"), (40.0, "56.9")],
)
def test_depth_follows_the_regression_of_ravi(anatomy, body_mass_index, printed):
    """Ravi et al., J Anaesth Clin Pharmacol 2011;27:39: depth = 17.7966 + 0.9777 BMI, half a digit."""
    depth = anatomy.with_pose(body_mass_index=body_mass_index).tissue.depth_to_epidural("L2-L3")
    assert depth == pytest.approx(float(printed), abs=0.06)


@pytest.mark.parametrize("interspace", ["L2-L3", "L3-L4", "L4-L5"])
def test_depth_lies_within_the_spread_of_cha(anatomy, interspace):
    """Cha et al., Anesth Pain Med 2011;6:16 (1653 adults): mean and one standard deviation."""
    figure = table("soft_tissue")[f"measured_depth.{interspace}"]
    depth = anatomy.tissue.depth_to_epidural(interspace)
    assert figure.low <= depth <= figure.high and abs(depth - figure.value) < 2.5


@pytest.mark.parametrize(
    "interspace, body_mass_index, low, high",
    [("L3-L4", 22.0, 37.1, 43.7), ("L3-L4", 27.5, 42.9, 48.6), ("L3-L4", 35.0, 51.6, 58.7),
     ("L4-L5", 22.0, 43.6, 46.5), ("L4-L5", 27.5, 47.9, 50.6), ("L4-L5", 35.0, 57.9, 61.6)],
)  # fmt: skip
def test_depth_by_class_of_body_mass(anatomy, interspace, body_mass_index, low, high):
    """Lee, Kim, Korean J Anesthesiol 2004;47:34 (124 adults by MRI): normal, overweight, obese; within 4 mm.

    The middle body mass index of each class is assumed.
    """
    depth = anatomy.with_pose(body_mass_index=body_mass_index).tissue.depth_to_epidural(interspace)
    assert low - 4.0 < depth < high + 4.0


def test_low_thoracic_depth(anatomy):
    """CT of 30 men, Br J Anaesth 2004;92:271: 55 mm aslant, 43.7 square to the skin at T10-T11."""
    depth = {name: anatomy.tissue.depth_to_epidural(name) for name in ("T10-T11", "T11-T12", "T12-L1")}
    assert depth["T10-T11"] == pytest.approx(43.7, abs=0.3)
    # Filled between both published ends.
    assert 42.0 < depth["T12-L1"] < depth["T11-T12"] < depth["T10-T11"]


def test_flavum_is_as_thick_as_the_table(anatomy):
    """By rays square to the plate, 3 mm off the midline at mid gap (trimesh), against tables/flavum.csv."""
    for name in ("T11-T12", "T12-L1", "L1-L2", "L2-L3", "L3-L4"):
        mesh = trimesh.Trimesh(*anatomy.flava[name], process=False)
        space = anatomy.canal.interspace(name)
        measured = []
        for share in (0.4, 0.5, 0.6):
            u = space.flavum_caudal + share * (space.lamina_caudal_edge - space.flavum_caudal)
            theta = np.arcsin(3.0 / float(anatomy.canal.radii(u, 0.3)[3]))
            centre = anatomy.canal.to_world(u, theta, float(anatomy.canal.radii(u, theta)[3]) - 0.5)
            gradient = anatomy.canal.contacts(centre.reshape(1, 3))[0, 1:4]
            outward = -gradient / np.linalg.norm(gradient)
            hits, _, _ = mesh.ray.intersects_location([centre], [outward], multiple_hits=True)
            assert len(hits) == 2
            measured.append(np.ptp((hits - centre) @ outward))
        assert np.median(measured) == pytest.approx(table("flavum")[f"{name}.thickness"].value, abs=0.25), (
            name
        )


def test_clearance_along_the_axis_against_exact_distances(anatomy):
    """Against trimesh's exact closest point on both bone meshes, every 0.25 mm, for 16 free needles."""
    found = corridor(
        anatomy, "T12-L1", approach=radians([32.0, 40.0, 50.0]), medial=TURNS, needle=Needle(152.0), **COARSE
    )
    meshes = [trimesh.Trimesh(*anatomy.bone_meshes[level], process=False) for level in ("T12", "L1")]
    free = np.random.default_rng(5).permutation(np.argwhere(found.free))
    errors = []
    for check in (check_needle(anatomy, found.aim(index), Needle(152.0)) for index in free):
        if check.least_clearance > SURE - 0.5 or check.least_clearance_bone not in ("T12", "L1"):
            continue
        reach = np.arange(-4.0, 4.1, 0.25) + check.least_clearance_at
        points = check.entry + np.clip(reach, 0.0, check.to_epidural)[:, None] * check.direction
        exact = min(trimesh.proximity.closest_point(mesh, points)[1].min() for mesh in meshes)
        errors.append(check.least_clearance - (exact - check.needle.outer_radius))
        if len(errors) == 16:
            break
    errors = np.array(errors)
    assert len(errors) == 16 and np.sqrt((errors**2).mean()) < 0.02 and np.abs(errors).max() < 0.06


def test_first_contact_against_rays(anatomy):
    """Against embree's first hit of the bare axis on the bone meshes.

    A round tip of radius r touches before the axis does: by r where the surface is met squarely, by more
    where it is met aslant or where an edge stands beside the axis.
    """
    parts = [
        trimesh.Trimesh(*anatomy.bone_meshes[level], process=False) for level in ("T11", "T12", "L1", "L2")
    ]
    whole, z, ahead = trimesh.util.concatenate(parts), window_centre(anatomy.canal, "T12-L1")[2], []
    for shift in (-20.0, -12.0, -6.0, 10.0, 16.0, 24.0):
        for x in (4.0, 10.0, 16.0):
            aim = NeedleAim("T12-L1", x, z - 50.0 + shift, radians(40.0), radians(10.0))
            check = check_needle(anatomy, aim, Needle(152.0))
            hits, _, _ = whole.ray.intersects_location([check.entry], [check.direction], multiple_hits=False)
            hit = (hits[0] - check.entry) @ check.direction if len(hits) else np.inf
            if hit < check.to_epidural:
                # What the axis itself hits, the needle touches, and never later.
                assert check.to_first_bone < hit - 0.9 * check.needle.outer_radius
                ahead.append(hit - check.to_first_bone)
    assert len(ahead) >= 6 and np.median(ahead) < 4.0 * check.needle.outer_radius


def test_the_touched_point_lies_on_the_bone(anatomy):
    """Against trimesh's exact closest point, on the bone that is named, one radius from the axis."""
    z = window_centre(anatomy.canal, "T12-L1")[2]
    for x, shift in ((10.0, -20.0), (16.0, 22.0)):
        check = check_needle(anatomy, NeedleAim("T12-L1", x, z - 50.0 + shift, radians(40.0), radians(10.0)))
        mesh = trimesh.Trimesh(*anatomy.bone_meshes[check.first_bone], process=False)
        place = check.entry + check.to_first_bone * check.direction
        _, distance, _ = trimesh.proximity.closest_point(mesh, [check.first_bone_point, place])
        assert distance[0] < 0.05 and distance[1] == pytest.approx(check.needle.outer_radius, abs=0.05)


def test_shallow_paramedian_needles_pass_at_t12_l1(anatomy):
    """Common practice: 30 to 45 degrees to the skin, from beside the midline, turned inward."""
    for approach_deg in (30.0, 35.0, 40.0, 45.0):
        found = corridor(
            anatomy, "T12-L1", approach=radians([approach_deg]), medial=TURNS, needle=Needle(152.0), **COARSE
        )
        assert found.free[3:].any()
        widest = found.widest(candidates=20)
        assert widest.reaches and widest.least_clearance > 1.0 and abs(widest.aim.entry_x) > 8.0


def test_the_midline_is_closed_at_45_degrees(anatomy):
    """Common practice: on the midline the spinous process stands in the way of every shallow needle."""
    for interspace in ("T10-T11", "T11-T12", "T12-L1", "L1-L2"):
        found = corridor(
            anatomy, interspace, approach=radians([30.0, 38.0, 45.0]), medial=[0.0], lateral=[0.0],
            caudal=np.arange(15.0, 120.0, 1.0), needle=Needle(152.0),
        )  # fmt: skip
        assert not found.free.any(), interspace


def test_shallow_limits_cost_dearly_and_t10_is_a_trap(anatomy):
    """Direction only: far less is free up to 30 than up to 45 degrees, and least of all at T10-T11."""
    share = {}
    for name in ("T10-T11", "T11-T12", "T12-L1"):
        found = corridor(
            anatomy,
            name,
            approach=radians(np.linspace(15.0, 45.0, 7)),
            medial=TURNS,
            needle=Needle(152.0),
            **COARSE,
        )
        share[name] = found.free[:, :, :4].mean(), found.free.mean()
    for name in ("T11-T12", "T12-L1"):
        assert 0.0 < share[name][0] < share[name][1]
        assert share["T10-T11"][0] < 0.25 * share[name][0] and share["T10-T11"][1] < 0.5 * share[name][1]


def test_heavy_bodies_need_longer_needles(anatomy):
    """At one angle 14.7 mm more fat (Ravi: 0.9777 x 15) are about 14.7 / sin 40 = 23 mm more needle.

    Less where the entry, lower on the thicker back, comes to lie in the hollow of the loins.
    """
    lengths = []
    for patient in (anatomy, anatomy.with_pose(body_mass_index=40.0)):
        aim = aim_at_target(
            patient, "T12-L1", side="left", approach=radians(40.0), medial=radians(15.0), target_offset=3.0
        )
        lengths.append(check_needle(patient, aim).to_epidural)
    assert 0.7 < (lengths[1] - lengths[0]) / (14.67 / np.sin(radians(40.0))) < 1.2
