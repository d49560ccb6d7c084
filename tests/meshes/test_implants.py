"""Implants: closed, where the trade puts them, clear of the canal; and what cannot be is refused."""

import numpy as np
import pytest
import trimesh

from meshes.cement import cement_mesh
from meshes.findings import InterspinousImplant, PedicleScrews, VertebralCement
from meshes.implants import implant_grids, implant_meshes
from meshes.measure_meshes import enclosed_volume
from meshes.screws import place_screw, rods, screws
from meshes.spacer import place_spacer
from meshes.tables.loader import number

FINDINGS = (
    PedicleScrews("L3", "S1"),
    PedicleScrews("T10", "T12"),
    InterspinousImplant("L1-L2"),
    VertebralCement("L1", 4.0),
)


@pytest.fixture(scope="module")
def operated(anatomy):
    return anatomy.with_pose(findings=FINDINGS)


@pytest.fixture(scope="module")
def meshes(operated):
    return implant_meshes(operated)


def test_every_implant_is_one_closed_body(meshes):
    assert len(meshes) == 8 + 6 + 4 + 1 + 1
    for name, (vertices, faces) in meshes.items():
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        assert mesh.is_watertight and mesh.is_winding_consistent and mesh.body_count == 1, name
        assert mesh.volume > 200.0 and np.isfinite(vertices).all(), name


def test_nothing_without_findings(anatomy):
    assert implant_meshes(anatomy) == {} and implant_grids(anatomy) == {}


def test_screws_run_through_pedicle_and_body(operated):
    """By trimesh: the axis lies inside its own bone, and no shaft comes through the pedicle's cortex."""
    for screw in screws(operated):
        mesh = trimesh.Trimesh(*operated.bone_meshes[screw.level], process=False)
        length = np.linalg.norm(screw.tip - screw.entry)
        axis = screw.entry + np.linspace(0.6, length, 40)[:, None] * screw.direction
        assert mesh.contains(axis).all(), screw
        assert 28.0 < length < 45.01 and 1.8 < screw.radius <= 3.5, screw
        assert (screw.direction[0] < 0.0) == (screw.side == "left")
        deep = -operated.packed.only([screw.level]).nearest(axis[10:-6])
        assert deep.min() > screw.radius, (screw.level, screw.side)


def test_no_screw_or_rod_enters_the_canal(anatomy, meshes):
    for name, (vertices, _) in meshes.items():
        inner = vertices[(vertices[:, 2] > 60.0) & (vertices[:, 2] < 290.0)][::5]
        if name.startswith(("screw", "rod")) and len(inner):
            u, theta, radius = anatomy.canal.to_chart(inner)
            dura = np.array([float(np.ravel(anatomy.canal.radii(a, b)[2])[0]) for a, b in zip(u, theta)])
            assert (radius - dura).min() > 0.5, name


def test_a_rod_runs_through_all_heads(operated):
    placed = screws(operated)
    (rod, *_) = rods(operated, placed)
    assert rod.name == "rod L3-S1 left"
    for screw in placed:
        if screw.side == "left" and screw.level in ("L3", "L4", "L5", "S1"):
            assert np.linalg.norm(rod.line - screw.head, axis=1).min() < 2.0
    assert rods(operated.with_pose(findings=(PedicleScrews("L4", "L4"),)), screws(operated)) == ()


def test_a_spacer_stands_between_both_processes(anatomy):
    spacer = place_spacer(anatomy, "L1-L2")
    upper, lower = (anatomy.packed.only([level]) for level in ("L1", "L2"))
    ends = spacer.centre + 0.5 * spacer.height * spacer.axes[2] * np.array([[1.0], [-1.0]])
    assert abs(upper.nearest(ends)[0]) < 0.5 and abs(lower.nearest(ends)[1]) < 0.5
    assert abs(spacer.centre[0]) < 0.1 and spacer.height >= number("implants", "spacer.least_height")
    assert anatomy.tissue.fascia(0.0, spacer.centre[2]) > spacer.centre[1]


def test_cement_has_its_volume_inside_the_body(operated, meshes):
    vertices, faces = meshes["cement L1"]
    assert enclosed_volume(vertices, faces) == pytest.approx(4000.0, rel=1e-3)
    assert operated.packed.only(["L1"]).nearest(vertices).max() < -0.5


@pytest.mark.parametrize("level", ["T6", "T9", "L3"])
def test_the_largest_mass_of_cement_still_lies_inside(anatomy, level):
    with pytest.raises(ValueError, match="volume of vertebral-cement must be at most") as refusal:
        cement_mesh(anatomy.bones[level], 30.0)
    most = float(str(refusal.value).split("at most ")[1].split(" cc")[0])
    vertices, _ = cement_mesh(anatomy.bones[level], most - 0.05)
    assert anatomy.bones[level].grid.at(vertices).max() < 0.0 and most > 2.5


def test_a_screw_without_pedicle_is_refused(anatomy):
    from dataclasses import replace

    bone = anatomy.bones["L3"]
    flat = bone.vertices.copy()
    flat[:, 1] = np.minimum(flat[:, 1], bone.shape.posterior_wall)
    with pytest.raises(ValueError, match="pedicle-screws must have a pedicle to hold, got none at L3 left"):
        place_screw(replace(bone, vertices=flat), anatomy.poses["L3"], "left")
    assert place_screw(bone, anatomy.poses["L3"], "left").level == "L3"


def test_grids_tell_the_distance_to_the_meshes(operated, meshes):
    """Against trimesh's exact closest point on the meshes, away from tips and ends, which are drawn blunt."""
    grids = implant_grids(operated)
    assert set(grids) == {name for name in meshes if not name.startswith("cement")}
    (tip,) = (s.tip for s in screws(operated) if (s.level, s.side) == ("L4", "left"))
    random = np.random.default_rng(0)
    for name, allowed in (("rod L3-S1 left", 0.1), ("spacer L1-L2", 0.25), ("screw L4 left", 0.9)):
        vertices, faces = meshes[name]
        away = np.linalg.norm(vertices - tip, axis=1) > 20.0
        middle = np.abs(vertices[:, 2] - vertices[:, 2].mean()) < 0.35 * np.ptp(vertices[:, 2])
        kept = np.flatnonzero(away if name.startswith("screw") else middle)
        points = vertices[random.choice(kept, 80)] + random.normal(0.0, 2.0, (80, 3))
        _, exact, _ = trimesh.proximity.closest_point(trimesh.Trimesh(vertices, faces, process=False), points)
        got = grids[name].at(points)
        outside = (got > 0.3) & (got < 5.5)
        assert outside.sum() > 15 and np.abs(got - exact)[outside].max() < allowed, name
