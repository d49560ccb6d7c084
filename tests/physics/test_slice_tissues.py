"""Tissues of slices against the anatomy's own meshes, and their brightness against formula and tables."""

import numpy as np
import pytest
import trimesh

from meshes.tables.loader import table
from trainer.physics import slice_tissues as t
from trainer.physics.slice_picture import tissue_of

BONE = (t.CORTEX, t.MARROW)
IN_SAC = (t.FLUID, t.CORD, t.ROOT, t.DURA)
# Points this near to a surface may fall to either side: grid, chart and mesh differ by as much. [mm]
NEAR = 0.35


def inside_points(mesh, *, count, rng):
    """Return random points inside a mesh, by trimesh, not nearer than NEAR to its surface."""
    body = trimesh.Trimesh(*mesh, process=False)
    rng = np.random.default_rng(rng)
    points = rng.uniform(body.bounds[0], body.bounds[1], (12 * count, 3))
    points = points[body.contains(points)][:count]
    depth = trimesh.proximity.closest_point(body, points)[1]
    return points[depth > NEAR]


def share_of(anatomy, mesh, tissues, *, count=120, rng=1):
    points = inside_points(mesh, count=count, rng=rng)
    assert len(points) > 10
    return np.isin(tissue_of(anatomy, points), tissues).mean()


@pytest.mark.parametrize("level", ("T7", "T12", "L3", "S1"))
def test_points_inside_a_bone_are_bone(anatomy, level):
    assert share_of(anatomy, anatomy.bone_meshes[level], BONE) == 1.0


@pytest.mark.parametrize("level", ("T9", "L2"))
def test_points_beside_a_bone_are_not(anatomy, level):
    mesh = trimesh.Trimesh(*anatomy.bone_meshes[level], process=False)
    others = [trimesh.Trimesh(*m, process=False) for n, m in anatomy.bone_meshes.items() if n != level]
    rng = np.random.default_rng(3)
    points = mesh.vertices[rng.integers(0, len(mesh.vertices), 300)] + rng.normal(0.0, 2.0, (300, 3))
    points = points[~mesh.contains(points)]
    for other in others:
        points = points[~other.contains(points)]
    points = points[trimesh.proximity.closest_point(mesh, points)[1] > NEAR]
    ribs = np.isin(tissue_of(anatomy, points), BONE)
    # Heads of ribs are drawn on the flanks of thoracic bodies.
    assert ribs.mean() == 0.0 if level == "L2" else ribs.mean() < 0.1


def test_the_sac_holds_fluid_cord_and_roots(anatomy):
    points = inside_points(anatomy.dura["dura"], count=400, rng=2)
    low, high = anatomy.canal.to_chart(points)[0] > 8.0, anatomy.canal.to_chart(points)[0] < 320.0
    found = tissue_of(anatomy, points[low & high])
    assert np.isin(found, IN_SAC).mean() > 0.99


def test_the_cord_is_the_cord(anatomy):
    assert share_of(anatomy, anatomy.cord["cord"], (t.CORD,), count=150) > 0.97


@pytest.mark.parametrize("name", ("T8-T9", "L1-L2", "L4-L5"))
def test_discs_are_nucleus_and_annulus(anatomy, name):
    assert share_of(anatomy, anatomy.discs[name], (t.NUCLEUS, t.ANNULUS), count=250) > 0.95


@pytest.mark.parametrize("name", ("T9-T10", "T12-L1", "L3-L4"))
def test_flava_are_flavum(anatomy, name):
    assert share_of(anatomy, anatomy.flava[name], (t.FLAVUM,), count=300) > 0.9


def test_outside_the_skin_is_air_and_under_it_skin_then_fat(anatomy):
    z = np.linspace(-50.0, 300.0, 40)
    skin = anatomy.tissue.skin(0.0, z)
    column = np.column_stack([np.zeros_like(z), skin, z])
    down = np.array([0.0, 1.0, 0.0])
    assert (tissue_of(anatomy, column + 0.5 * down) == t.AIR).all()
    assert (tissue_of(anatomy, column - 1.0 * down) == t.SKIN).all()
    assert (tissue_of(anatomy, column - 3.2 * down) == t.FAT).all()


def test_a_symmetric_body_has_equal_halves(anatomy):
    """Bones, canal and discs; vessels and kidneys are not mirrored in a person."""
    rng = np.random.default_rng(5)
    points = anatomy.canal.to_world(rng.uniform(15.0, 310.0, 3000), 0.0, 0.0)
    points += rng.uniform([-25.0, -28.0, -2.0], [25.0, 40.0, 2.0], (3000, 3))
    left, right = tissue_of(anatomy, points), tissue_of(anatomy, points * [-1.0, 1.0, 1.0])
    spine = (*BONE, *IN_SAC, t.FLAVUM, t.EPIDURAL_FAT, t.NUCLEUS, t.ANNULUS)
    either = np.isin(left, spine) | np.isin(right, spine)
    assert either.sum() > 1000
    # Bones meet at the joints with a cubic grid each: a handful of points lie on a border.
    assert (left[either] == right[either]).mean() > 0.985


def test_shapes_are_kept_and_wrong_ones_refused(anatomy):
    assert tissue_of(anatomy, np.zeros((2, 3, 3))).shape == (2, 3)
    with pytest.raises(ValueError, match="points must have shape"):
        tissue_of(anatomy, np.zeros((4, 2)))


def test_spin_echo_in_its_limits():
    """Closed form: no decay with endless t2, no signal with t2 far below the echo, full after a short t1."""
    assert t.spin_echo(0.8, 1e-3, 1e6) == pytest.approx(0.8, rel=1e-6)
    assert t.spin_echo(1.0, 1.0, 1e-3) < 1e-40
    repetition = table("slices")["t2.repetition"].value
    assert t.spin_echo(1.0, repetition, 1e9) == pytest.approx(1.0 - np.exp(-1.0))


def test_t2_goes_from_fluid_over_fat_nucleus_and_cord_to_muscle_and_cortex():
    """The order that every textbook of magnetic resonance of the spine shows (common practice)."""
    level, _ = t.brightness("t2")
    order = (t.FLUID, t.FAT, t.NUCLEUS, t.CORD, t.MUSCLE, t.LIGAMENT)
    assert all(a > b for a, b in zip(level[list(order)], level[list(order[1:])]))
    assert level[t.FLUID] == 1.0
    assert level[t.AIR] == level[t.METAL] == 0.0
    assert level[t.CORTEX] < 0.01


def test_hounsfield_numbers_fall_into_the_printed_ranges():
    """Fat -50 to -100, blood 45 to 65, kidney 20 to 40, lung -850 to -910, bone 700 to 3000, air -1000.

    Buzug, Computed Tomography, Springer 2008, p. 475, as a radiology class page cites it.
    """
    level = dict(zip(t.TISSUES, t.brightness("ct")[0]))
    assert -100.0 <= level["fat"] <= -50.0
    assert 45.0 <= level["blood"] <= 65.0
    assert 20.0 <= level["kidney"] <= 40.0
    assert -910.0 <= level["lung"] <= -850.0
    assert 700.0 <= level["cortex"] <= 3000.0
    assert level["air"] == -1000.0


def test_hounsfield_follows_from_attenuation():
    assert t.hounsfield("water") == 0.0
    assert t.brightness("ct")[0][t.MUSCLE] == pytest.approx(t.hounsfield("soft_tissue"), rel=1e-6)


def test_unknown_appearance_is_refused():
    with pytest.raises(ValueError, match="appearance must be one of t2, ct"):
        t.brightness("t1")
