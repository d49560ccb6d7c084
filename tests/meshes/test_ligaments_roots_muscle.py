"""Ligaments, nerve roots and paraspinal muscles: closed bodies that lie where they should."""

import numpy as np
import pytest
import trimesh

from meshes import findings as kinds
from meshes.anatomy import Anatomy
from meshes.levels import LEVELS
from meshes.ligaments import calcified_ligaments, interspinous_ligament, ligament_meshes
from meshes.muscle import muscle_meshes, muscle_surfaces
from meshes.roots import entry_station, root_meshes, root_path, root_radius
from meshes.tables.loader import number
from meshes.units import radians


@pytest.fixture(scope="module")
def spines(anatomy):
    """Return the ordinary adult, a curved one, and one with worn discs and little lordosis."""
    return (
        anatomy,
        anatomy.with_pose(scoliosis=radians(-35.0), lumbar_lordosis=radians(65.0)),
        anatomy.with_pose(disc_loss=0.5, lumbar_lordosis=radians(20.0), body_mass_index=40.0),
    )


def with_findings(anatomy, *findings):
    """Return the same bones under other findings."""
    return Anatomy(anatomy.parameters.with_changes(findings=findings), anatomy.bones, anatomy.poses)


@pytest.mark.parametrize("build", [ligament_meshes, root_meshes, muscle_meshes])
def test_all_are_closed_bodies(spines, build):
    for spine in spines:
        for name, (vertices, faces) in build(spine).items():
            mesh = trimesh.Trimesh(vertices, faces, process=False)
            assert np.isfinite(vertices).all(), name
            assert mesh.is_watertight and mesh.is_winding_consistent, name
            assert mesh.body_count == 1 and mesh.volume > 0.0, name


def test_there_is_one_of_each(anatomy):
    ligaments, roots = ligament_meshes(anatomy), root_meshes(anatomy)
    assert len(ligaments) == 1 + len(anatomy.canal.interspaces)
    assert len(roots) == 2 * len(LEVELS) and {"T12 left root", "T12 right root"} < set(roots)
    assert set(muscle_meshes(anatomy)) == {"left paraspinal muscle", "right paraspinal muscle"}


@pytest.mark.parametrize("name", ["T10-T11", "T12-L1", "L2-L3", "L4-L5"])
def test_interspinous_ligament_spans_from_one_process_to_the_next(anatomy, name):
    vertices, _ = interspinous_ligament(anatomy, name)
    for level in name.split("-"):
        # It holds on to the bone by a fraction of a millimetre.
        assert anatomy.packed.only([level]).nearest(vertices).min() < 0.3
    assert np.percentile(anatomy.packed.nearest(vertices), 5) > -0.7
    width = np.ptp(vertices[:, 0])
    assert width == pytest.approx(number("ligaments", "interspinous.thickness"), rel=0.05)


@pytest.mark.parametrize("spine", [0, 1])
def test_no_interspinous_ligament_lies_in_bone(spines, spine):
    """It enters the bone it holds on to by 0.3 mm and no more, where long processes lie on each other too."""
    for name in spines[spine].canal.interspaces:
        vertices, _ = interspinous_ligament(spines[spine], name)
        assert spines[spine].packed.nearest(vertices).min() > -0.35, name


def test_interspinous_ligament_is_refused_where_there_is_no_chart(anatomy):
    with pytest.raises(ValueError, match="interspace must be one of"):
        interspinous_ligament(anatomy, "S1-S2")


def test_supraspinous_strap_lies_over_the_tips(anatomy):
    vertices, _ = ligament_meshes(anatomy)["supraspinous ligament"]
    for level in LEVELS:
        tip = anatomy.poses[level].apply(np.array([0.0, *anatomy.bones[level].shape.spinous_tip]))
        assert np.linalg.norm(vertices - tip, axis=1).min() < 5.0
    # The fascia lies on it.
    assert np.all(anatomy.tissue.fascia(vertices[:, 0], vertices[:, 2]) > vertices[:, 1] - 4.0)


def test_a_laminectomy_takes_the_ligaments_of_its_process(anatomy):
    cut = ligament_meshes(with_findings(anatomy, kinds.Laminectomy("L2")))
    whole = ligament_meshes(anatomy)
    assert set(whole) - set(cut) == {"L1-L2 interspinous ligament", "L2-L3 interspinous ligament"}
    one_side = ligament_meshes(with_findings(anatomy, kinds.Laminectomy("L2", side="left")))
    assert set(one_side) == set(whole)
    for name in set(cut) - {"supraspinous ligament"}:
        assert cut[name][0] == pytest.approx(whole[name][0], abs=1e-3)


def test_only_calcified_ligaments_are_hard(anatomy):
    assert calcified_ligaments(anatomy) == {}
    hard = calcified_ligaments(with_findings(anatomy, kinds.LigamentCalcification("T12-L1")))
    assert set(hard) == {("T12-L1", "interspinous"), ("T12-L1", "supraspinous")}
    z = hard["T12-L1", "supraspinous"][0][:, 2]
    tips = [
        anatomy.poses[n].apply(np.array([0.0, *anatomy.bones[n].shape.spinous_tip]))[2] for n in ("L1", "T12")
    ]
    assert z.min() == pytest.approx(tips[0], abs=3.0) and z.max() == pytest.approx(tips[1], abs=3.0)
    # The strap over the tips ends at L5.
    lowest = calcified_ligaments(with_findings(anatomy, kinds.LigamentCalcification("L5-S1")))
    assert set(lowest) == {("L5-S1", "interspinous")}


@pytest.mark.parametrize("level", ["T7", "T10", "T12", "L2", "L5"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_root_runs_inside_the_dura_and_leaves_under_its_pedicle(spines, level, sign):
    for spine in spines:
        canal, path = spine.canal, root_path(spine, level, sign)
        inside = canal.contacts(path[:40])
        assert inside[:, 4].max() < -root_radius(level) + 0.2
        low, high = next((a, b) for name, a, b in canal.level_spans if name == level)
        u, theta, r = canal.to_chart(path)
        leaves = int(np.argmax(r > canal.radii(u, theta)[1]))
        assert low < u[leaves] < 0.5 * (low + high) + 2.0
        assert np.all(np.sign(theta[20:]) == sign)
        assert r[-1] > r[leaves] + 8.0


def test_roots_keep_out_of_bone(spines):
    for spine in spines:
        for name, (vertices, _) in root_meshes(spine).items():
            assert spine.packed.nearest(vertices).min() > -0.8, name
    for name, (vertices, _) in root_meshes(spines[0]).items():
        assert spines[0].packed.nearest(vertices).min() > 0.1, name


def test_thoracic_roots_leave_the_cord_about_two_bodies_above(anatomy):
    """16 cadavers, J Korean Neurosurg Soc 2012;52:384 (abstract)."""
    canal = anatomy.canal
    for level in ("T9", "T10", "T11", "T12"):
        bodies = canal.station(LEVELS[LEVELS.index(level) - 2])
        assert entry_station(canal, level) == pytest.approx(bodies, abs=1.0)
    lumbar = [entry_station(canal, level) for level in LEVELS[6:]]
    assert np.all(np.diff(lumbar) < 0.0)
    assert lumbar[-1] > canal.u[canal.cord_half_depth > 0.3][0]


def test_muscle_fills_the_room_between_fascia_and_bone(spines):
    for spine in spines:
        for vertices, _ in muscle_meshes(spine).values():
            room = spine.packed.nearest(vertices)
            assert room.min() > -0.7 and np.percentile(room, 1) > 0.0
            assert np.all(spine.tissue.fascia(vertices[:, 0], vertices[:, 2]) > vertices[:, 1])


def test_muscle_is_as_thick_over_the_lumbar_laminae_as_remembered(anatomy):
    """25 to 35 mm, 1 to 2 cm off the midline (from memory, common practice)."""
    front, back = muscle_surfaces(anatomy, 1.0)
    row = int(np.argmin(np.abs(front[:, 0, 2] - anatomy.poses["L3"].translation[2])))
    near = (front[row, :, 0] > 10.0) & (front[row, :, 0] < 20.0)
    thickness = (back - front)[row, near, 1]
    assert thickness.min() > 23.0 and thickness.max() < 38.0


def test_muscle_does_not_grow_with_body_mass(anatomy):
    """Only the fat above the ligaments does: Bahk et al., Reg Anesth Pain Med 1998;23:262."""
    heavy = muscle_meshes(anatomy.with_pose(body_mass_index=45.0))
    for name, (vertices, _) in muscle_meshes(anatomy).items():
        assert heavy[name][0] == pytest.approx(vertices, abs=1e-9)
