"""What stops a needle besides bones: packed with them, exact beside trimesh, named in words."""

import numpy as np
import pytest
import trimesh

from meshes import findings as kinds
from meshes.distance import nearest_bone
from meshes.implants import implant_meshes
from meshes.inside import inside_mesh
from meshes.levels import COLUMN
from meshes.ligaments import calcified_ligaments
from meshes.obstacles import mesh_grid, pack_obstacles

FINDINGS = (
    kinds.PedicleScrews("L3", "L4"),
    kinds.InterspinousImplant("L1-L2"),
    kinds.FlavumThickening("T11-T12", 2.0, ossified=True),
    kinds.FlavumThickening("T9-T10", 2.0),
    kinds.LigamentCalcification("T12-L1"),
    kinds.VertebralCement("L1", 3.0),
)
WORDS = {
    "the left L3 pedicle screw": "L3",
    "the right L3 pedicle screw": "L3",
    "the left L4 pedicle screw": "L4",
    "the right L4 pedicle screw": "L4",
    "the left rod at L3-L4": "L3",
    "the right rod at L3-L4": "L3",
    "the interspinous spacer at L1-L2": "L1",
    "the ossified ligamentum flavum at T11-T12": "T11",
    "the calcified interspinous ligament at T12-L1": "T12",
    "the calcified supraspinous ligament at T12-L1": "T12",
}


@pytest.fixture(scope="module")
def operated(anatomy):
    return anatomy.with_pose(findings=FINDINGS)


def test_a_sound_body_has_no_obstacles_but_its_bones(anatomy):
    assert anatomy.obstacles is anatomy.packed
    assert pack_obstacles(anatomy.packed, {}) is anatomy.packed
    soft = anatomy.with_pose(findings=(kinds.FlavumThickening("T9-T10", 2.0), kinds.Adhesion("T9")))
    assert soft.obstacles is soft.packed


def test_rows_are_bones_first_then_obstacles_named_in_words(operated):
    obstacles = operated.obstacles
    assert obstacles.levels == (*COLUMN, *obstacles.beside)
    assert obstacles.beside == WORDS
    assert np.array_equal(obstacles.table[: len(COLUMN)], operated.packed.table)
    last = obstacles.levels.index("the calcified interspinous ligament at T12-L1")
    assert obstacles.obstacle(last) == obstacles.levels[last] and obstacles.level_of(last) == "T12"
    assert obstacles.obstacle(2) is None and obstacles.level_of(2) == COLUMN[2]
    some = obstacles.only(("L4", "the left L4 pedicle screw"))
    assert some.beside == {"the left L4 pedicle screw": "L4"}


def test_hardened_ligaments_are_exact_beside_trimesh(operated):
    random = np.random.default_rng(0)
    meshes = {"the ossified ligamentum flavum at T11-T12": operated.flava["T11-T12"]}
    for (name, which), mesh in calcified_ligaments(operated).items():
        meshes[f"the calcified {which} ligament at {name}"] = mesh
    for words, (vertices, faces) in meshes.items():
        points = vertices[random.choice(len(vertices), 60)] + random.normal(0.0, 1.5, (60, 3))
        exact = -trimesh.proximity.signed_distance(trimesh.Trimesh(vertices, faces, process=False), points)
        got = operated.obstacles.only((words,)).nearest(points)
        near = exact < 5.5
        assert near.sum() > 40 and (exact < 0.0).sum() > 3
        assert np.abs(got - exact)[near & (exact > 0.0)].max() < 0.1, words
        assert np.abs(got - exact)[exact <= 0.0].max() < 0.2, words


def test_the_nearest_of_bones_and_obstacles_answers(operated):
    """Outside everything the packed set tells the least of its parts, and which part that is."""
    obstacles = operated.obstacles
    vertices = np.vstack([v for n, (v, _) in implant_meshes(operated).items() if not n.startswith("cement")])
    random = np.random.default_rng(1)
    points = vertices[random.choice(len(vertices), 60)] + random.normal(0.0, 2.0, (60, 3))
    alone = np.array([obstacles.only((name,)).nearest(points) for name in obstacles.levels])
    assert obstacles.nearest(points) == pytest.approx(alone.min(axis=0), abs=1e-12)
    assert (operated.packed.nearest(points) >= obstacles.nearest(points)).all()
    held = [nearest_bone(obstacles.values, obstacles.table, *point, True)[1] for point in points]
    assert held == list(alone.argmin(axis=0)) and max(held) >= len(COLUMN)


def test_far_away_no_more_than_the_true_distance_is_told(operated):
    obstacles, random = operated.obstacles, np.random.default_rng(2)
    meshes = implant_meshes(operated)
    rod = trimesh.Trimesh(*meshes["rod L3-L4 left"], process=False)
    points = rod.vertices.mean(axis=0) + random.normal(0.0, 30.0, (200, 3))
    _, true, _ = trimesh.proximity.closest_point(rod, points)
    told = obstacles.only(("the left rod at L3-L4",)).nearest(points)
    assert (told <= true + 0.1).all() and told.max() > 20.0


def test_they_stand_where_the_posture_puts_them(anatomy, operated):
    bent = operated.with_pose(lumbar_lordosis=0.6, findings=FINDINGS[:1])
    screw = "the left L4 pedicle screw"
    moved = bent.poses["L4"] @ operated.poses["L4"].inverse()
    points = implant_meshes(operated)["screw L4 left"][0]
    before = operated.obstacles.only((screw,)).nearest(points)
    after = bent.obstacles.only((screw,)).nearest(moved.apply(points))
    assert after == pytest.approx(before, abs=0.15)


def test_inside_of_a_ball_and_of_a_box():
    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    low, shape = np.full(3, -6.013), (25, 25, 25)
    inside = inside_mesh(ball.vertices, ball.faces, origin=low, pitch=0.5, shape=shape)
    z, y, x = np.meshgrid(*(low[0] + 0.5 * np.arange(25),) * 3, indexing="ij")
    radius = np.sqrt(x * x + y * y + z * z)
    assert inside[radius < 4.95].all() and not inside[radius > 5.0].any()
    # Grid lines along edges and corners of the mesh: each column still passes it an even number of times.
    box = trimesh.creation.box((4.0, 4.0, 4.0))
    inside = inside_mesh(box.vertices, box.faces, origin=np.full(3, -6.0), pitch=0.5, shape=shape)
    assert not inside[-1].any() and inside.sum() == 8**3
    assert mesh_grid(box.vertices, box.faces).at([0.0, 0.0, 3.0]) == pytest.approx(1.0, abs=1e-3)
