"""Random adults with random findings: every bone one closed body, no two overlap, everything finite."""

import numpy as np
import pytest

from meshes import cache
from meshes import findings as f
from meshes.anatomy import build_anatomy
from meshes.parameters import SpineParameters
from meshes.parts import named_meshes
from meshes.units import radians
from tests.bodies import KINDS, draw_body, draw_finding, faults, mesh_facts, overlaps

QUICK = 3
EXTREMES = {
    "flat back": {"lumbar_lordosis": radians(20.0)},
    "hollow back": {"lumbar_lordosis": radians(75.0)},
    "scoliosis to the left": {"scoliosis": radians(45.0)},
    "scoliosis to the right, lumbar": {"scoliosis": radians(-45.0), "curve_top": "T11", "curve_bottom": "L4"},
    "worn discs": {"disc_loss": 0.6},
    "worn discs and a hollow back": {"disc_loss": 0.6, "lumbar_lordosis": radians(75.0)},
    "round back": {"thoracic_kyphosis": radians(60.0)},
    "bolster": {"bolster": radians(25.0)},
}
FIRST = ("scoliosis to the left", "worn discs and a hollow back")


@pytest.fixture
def forgetful(monkeypatch):
    """Keep hundreds of random bones off the disk."""
    monkeypatch.setattr(cache, "store", lambda path, arrays: False)


def check(parameters):
    """Assert that a body is sound; return its anatomy."""
    anatomy = build_anatomy(parameters)
    assert faults(anatomy) == []
    assert overlaps(anatomy) == {}
    canal = anatomy.canal
    for radii in (canal.wall, canal.dura, canal.cord):
        assert np.isfinite(radii).all()
        assert (radii >= 0.0).all()
    assert (canal.dura <= canal.wall + 0.01).all()
    return anatomy


def open_meshes(anatomy):
    """Return the names of all parts, bones to skin, whose mesh is not closed, finite and turned outward."""
    facts = {name: mesh_facts(*mesh) for name, mesh in named_meshes(anatomy).items()}
    return [name for name, fact in facts.items() if not fact.finite or not fact.closed or fact.volume <= 0.0]


@pytest.mark.parametrize("seed", range(QUICK))
def test_a_few_random_bodies(seed, forgetful):
    anatomy = check(draw_body(seed))
    assert open_meshes(anatomy) == []


@pytest.mark.parametrize(
    "name", [name if name in FIRST else pytest.param(name, marks=pytest.mark.sweep) for name in EXTREMES]
)
def test_extreme_postures(name, forgetful):
    check(SpineParameters(**EXTREMES[name]))


@pytest.mark.sweep
@pytest.mark.parametrize("seed", range(100, 600))
def test_five_hundred_random_bodies(seed, forgetful):
    anatomy = check(draw_body(seed))
    assert open_meshes(anatomy) == []


@pytest.mark.sweep
@pytest.mark.parametrize("hundred", range(50))
def test_five_thousand_random_bodies(hundred, forgetful):
    """Bones and joints only: 100 bodies a case."""
    found = {}
    for seed in range(1000 + 100 * hundred, 1100 + 100 * hundred):
        anatomy = build_anatomy(draw_body(seed))
        if wrong := [*faults(anatomy), *overlaps(anatomy).items()]:
            found[seed] = wrong
    assert found == {}


def test_random_bodies_meet_every_finding():
    """Every kind is held by an eighth of the bodies at least, else the sweep would prove little."""
    bodies = [draw_body(seed) for seed in range(100, 260)]
    for kind in KINDS:
        held = sum(bool(f.of_kind(body.findings, kind)) for body in bodies)
        assert held >= 20, kind
    assert all(body.findings for body in bodies)
    assert len(set(bodies)) == len(bodies)


def test_the_same_seed_draws_the_same_body():
    assert draw_body(7) == draw_body(7)
    assert draw_finding(f.Adhesion, rng=3) == draw_finding(f.Adhesion, rng=3)


def test_faults_are_found(anatomy):
    """Two bones pushed into each other, and one with a face missing, are told."""
    from dataclasses import replace

    from meshes.anatomy import Anatomy

    lower = anatomy.poses["L3"]
    pushed = replace(lower, translation=lower.translation + np.array([0.0, 0.0, 6.0]))
    moved = Anatomy(anatomy.parameters, anatomy.bones, {**anatomy.poses, "L3": pushed})
    assert overlaps(moved)["L2-L3"] > 2.0
    assert faults(moved) == []
    torn = replace(anatomy.bones["L3"], faces=anatomy.bones["L3"].faces[1:])
    assert "L3 is not closed" in faults(
        Anatomy(anatomy.parameters, {**anatomy.bones, "L3": torn}, anatomy.poses)
    )


def test_a_joint_taken_out_leaves_no_hole_in_the_bone_below(forgetful):
    """A sliver of the thick joint of L2 that the cut had left once carved a hole inside L3."""
    findings = (f.Laminectomy("L2", side="left", reach="facets"), f.FacetHypertrophy("L2-L3", 0.8))
    check(SpineParameters(asymmetry=1.0, width_scale=1.05, findings=findings))


@pytest.mark.parametrize("seed", [121, 196])
def test_bodies_that_once_failed(seed, forgetful):
    """A joint taken out at T11 left crumbs; a rib had no transverse process to lie before."""
    assert open_meshes(check(draw_body(seed))) == []
