"""Every finding changes what it should, at its place, and nothing else. The rest is the ordinary adult."""

import numpy as np
import pytest

from meshes import findings as f
from meshes.anatomy import build_anatomy
from meshes.levels import LEVELS
from meshes.parameters import SpineParameters
from meshes.units import degrees, radians
from tests.bodies import bone_figures, changed_bones, changed_segments, compare, mesh_facts, soft_figures


@pytest.fixture(scope="module")
def rest(anatomy):
    return soft_figures(anatomy)


@pytest.fixture(scope="module")
def bones(anatomy):
    return bone_figures(anatomy)


def with_soft(anatomy, *findings):
    """Return the ordinary adult with findings that leave bones and posture alone."""
    found = anatomy.with_pose(findings=findings)
    assert changed_bones(anatomy, found) == set()
    assert changed_segments(anatomy, found) == set()
    return found


def places(changed):
    return {place for place, _ in changed}


def names(changed, place):
    return {name for where, name in changed if where == place}


def test_a_thick_flavum_takes_its_thickness_from_the_epidural_space_at_its_place(anatomy, rest):
    found = compare(rest, soft_figures(with_soft(anatomy, f.FlavumThickening("T10-T11", 1.5))))
    # The skin is fitted over the sound canal: only the wall at the place comes nearer to the front.
    skin = {key[0]: found.pop(key) for key in list(found) if key[1] == "skin_to_epidural"}
    assert skin.pop("T10-T11") == pytest.approx(1.5, abs=0.15)
    assert all(abs(change) < 0.1 for change in skin.values())
    assert places(found) == {"T10-T11"}
    assert found["T10-T11", "flavum_thickness"] == pytest.approx(1.5, abs=0.15)
    assert found["T10-T11", "epidural_depth"] < -0.5


def test_a_stenosis_narrows_the_sac_at_its_interspace(anatomy):
    before, after = anatomy.canal, with_soft(anatomy, f.CentralStenosis("T10-T11", 4.0)).canal
    mark = before.interspaces["T10-T11"]
    middle = 0.5 * (mark.disc_caudal + mark.disc_cranial)
    assert depth(after, middle) < depth(before, middle) - 1.0
    far = np.abs(before.u - middle) > 16.0
    assert np.allclose(after.wall[far], before.wall[far], atol=0.02)
    assert np.allclose(after.dura[far], before.dura[far], atol=0.02)


def depth(canal, station):
    """Return the depth of the sac on the midline. [mm]"""
    return float(canal.radii(station, 0.0)[2] + canal.radii(station, np.pi)[2])


def test_more_fat_at_the_cost_of_the_sac(anatomy, rest):
    found = compare(rest, soft_figures(with_soft(anatomy, f.EpiduralLipomatosis("T8", "T9", 3.0))))
    assert found["T8-T9", "epidural_depth"] == pytest.approx(3.0, abs=0.8)
    assert found["T9", "sac_depth"] < -1.5
    # The fat fades out over the neighbours. A longer or shorter axis shifts the stations, 1 mm apart: the
    # deepest place, at the tooth of a saw, lies between two of them and is told a little otherwise.
    assert places(found) - {"T6-T7", "T10-T11"} <= {"T7", "T7-T8", "T8", "T8-T9", "T9", "T9-T10", "T10"}
    beyond = [found[key] for key in found if key[0] in ("T6-T7", "T10-T11")]
    assert all(abs(change) < 0.25 for change in beyond)


def test_an_adhesion_grips_at_its_place_and_changes_no_shape(anatomy, rest):
    found = compare(rest, soft_figures(with_soft(anatomy, f.Adhesion("T9", friction=6.0, hold=4.0))))
    assert set(found) == {("T9", "friction"), ("T9", "hold")}
    assert found["T9", "friction"] == pytest.approx(5.0)
    assert found["T9", "hold"] == pytest.approx(3.0)


def test_thick_facets_narrow_one_window_from_the_sides(anatomy, bones):
    after = build_anatomy(SpineParameters(findings=(f.FacetHypertrophy("T12-L1", 1.0),)))
    assert changed_bones(anatomy, after) <= {"T12", "L1"}
    assert changed_segments(anatomy, after) == set()
    for level in ("T12", "L1"):
        before = anatomy.bones[level]
        body = before.vertices[before.vertices[:, 1] < before.shape.posterior_wall]
        assert np.abs(after.bones[level].grid.at(body)).max() < 0.3
    found = compare(bones, bone_figures(after), tolerance=0.1)
    assert found["T12-L1", "gap 6"] < -2.0
    assert ("T12-L1", "gap 0") not in found
    # The corners of T12's roof come down, which its upper edge feels by a quarter of a millimetre.
    assert abs(found.pop(("T11-T12", "gap 6"), 0.0)) < 0.25
    assert places(found) == {"T12-L1"}


def test_a_lost_disc_lowers_one_segment(anatomy):
    after = anatomy.with_pose(findings=(f.DiscHeightLoss("L3-L4", 0.5),))
    assert changed_bones(anatomy, after) <= {"L3", "L4"}
    assert changed_segments(anatomy, after) == {"L3-L4"}
    assert disc_height(after) == pytest.approx(0.5 * disc_height(anatomy), rel=0.06)


def disc_height(anatomy):
    """Return the distance of L3's lower and L4's upper plate along L4's axis. [mm]"""
    upper, lower = anatomy.poses["L3"], anatomy.poses["L4"]
    half = {level: 0.5 * anatomy.bones[level].shape.posterior_height for level in ("L3", "L4")}
    fronts = {level: 0.5 * anatomy.bones[level].shape.anterior_height for level in ("L3", "L4")}
    middle = {level: 0.5 * (half[level] + fronts[level]) for level in half}
    plate = upper.apply(np.array([[0.0, 0.0, -middle["L3"]]]))[0]
    return float((lower.rotation.T @ (plate - lower.translation))[2] - middle["L4"])


def test_a_wedge_fracture_takes_the_front_of_one_body_and_bends_the_column(anatomy, bones):
    after = build_anatomy(SpineParameters(findings=(f.WedgeFracture("T12", 0.3),)))
    assert changed_bones(anatomy, after) <= {"T12", "L1", "T11"}
    found = compare(bones, bone_figures(after), tolerance=0.3)
    front = bones["T12", "anterior_height"]
    assert found["T12", "anterior_height"] == pytest.approx(-0.3 * front, abs=0.8)
    # Measured between rounded corners, which turn with the plates.
    assert abs(found.get(("T12", "posterior_height"), 0.0)) < 0.8
    assert places(found) <= {"T12", "T12-L1", "T11-T12"}
    assert bend(after) - bend(anatomy) == pytest.approx(
        float(degrees(np.arctan(0.3 * front / bones["T12", "lower_endplate_depth"]))), abs=3.0
    )


def bend(anatomy):
    """Return by how much T11 leans forward of L1, seen from the side. [degrees]"""
    upper, lower = anatomy.poses["T11"].rotation, anatomy.poses["L1"].rotation
    across = lower.T @ upper
    return float(degrees(np.arctan2(-across[1, 2], across[2, 2])))


@pytest.fixture(scope="module")
def cut():
    return build_anatomy(SpineParameters(findings=(f.Laminectomy("T10", scar=1.0),)))


def test_a_laminectomy_takes_bone_from_one_level(anatomy, bones, cut):
    assert changed_bones(anatomy, cut) <= {"T10", "T11"}
    assert changed_segments(anatomy, cut) == set()
    facts = [mesh_facts(a.bones["T10"].vertices, a.bones["T10"].faces) for a in (anatomy, cut)]
    assert facts[1].volume < facts[0].volume - 1000.0
    assert (facts[1].bodies, facts[1].closed) == (1, True)
    found = compare(bones, bone_figures(cut), tolerance=0.1)
    for name in ("upper_endplate_width", "posterior_height", "anterior_height", "pedicle_width"):
        assert ("T10", name) not in found
    assert np.isnan(found["T10", "canal_depth"])


def test_a_laminectomy_leaves_the_skin(anatomy, cut):
    """The spine under it is gone; the outline of the back is fitted over the canal that was there."""
    z = anatomy.tissue.heights_of_profile
    np.testing.assert_allclose(cut.tissue.skin(0.0, z), anatomy.tissue.skin(0.0, z), atol=0.25)
    assert cut.tissue.depth_to_epidural("T10-T11") > anatomy.tissue.depth_to_epidural("T10-T11") + 2.0


def test_a_laminectomy_takes_both_flava_that_held_on_to_the_lamina(anatomy, cut):
    assert set(anatomy.flava) - set(cut.flava) == {"T9-T10", "T10-T11"}


def test_a_laminotomy_leaves_the_other_side(anatomy):
    cuts = {"L2": 1.0, "T9": -1.0}
    sides = {1.0: "left", -1.0: "right"}
    findings = tuple(f.Laminectomy(level, side=sides[sign]) for level, sign in cuts.items())
    after = build_anatomy(SpineParameters(findings=findings))
    assert changed_bones(anatomy, after) <= {"T9", "T10", "L2", "L3"}
    for level, sign in cuts.items():
        before = anatomy.bones[level]
        vertices = before.vertices[before.vertices[:, 1] > before.shape.posterior_wall + 12.0]
        kept, gone = vertices[sign * vertices[:, 0] < -2.0], vertices[sign * vertices[:, 0] > 2.0]
        assert np.abs(after.bones[level].grid.at(kept)).max() < 0.4
        assert after.bones[level].grid.at(gone).max() > 3.0


@pytest.mark.parametrize("kind", ["sacralised", "lumbarised"])
def test_a_transitional_level_changes_the_lowest_bones_only(anatomy, kind):
    after = build_anatomy(SpineParameters(findings=(f.TransitionalLevel(kind),)))
    assert changed_bones(anatomy, after) <= {"L5", "S1"}
    assert changed_bones(anatomy, after)
    assert changed_segments(anatomy, after) <= {"L5-S1"}


def test_the_wings_of_a_sacralised_level_stand_on_the_sacrum(anatomy):
    """A joint of each wing, a film wide, over more than a square centimetre; nothing overlaps elsewhere."""
    after = build_anatomy(SpineParameters(findings=(f.TransitionalLevel("sacralised"),)))
    sacrum, lowest = after.packed.only(["S1"]), after.bone_meshes["L5"][0]
    room = sacrum.nearest(lowest)
    assert room.min() > 0.3
    for side in (1.0, -1.0):
        wing = (side * lowest[:, 0] > 25.0) & (room < 0.9)
        # Vertices 0.8 mm apart.
        assert wing.sum() * 0.8**2 > 100.0
    usual = anatomy.bone_meshes["L5"][0]
    assert anatomy.packed.only(["S1"]).nearest(usual[np.abs(usual[:, 0]) > 30.0]).min() > 3.0


def test_a_lumbarised_level_has_a_disc_below_it(anatomy):
    """One closed disc more, in the slit of the sacrum and nowhere in its bone."""
    after = build_anatomy(SpineParameters(findings=(f.TransitionalLevel("lumbarised"),)))
    assert set(after.discs) - set(anatomy.discs) == {"S1-S2"}
    facts = mesh_facts(*after.discs["S1-S2"])
    assert facts.closed and facts.bodies == 1 and 1200.0 < facts.volume < 6000.0
    room = after.packed.only(["S1"]).nearest(after.discs["S1-S2"][0])
    assert room.min() > -0.4 and room.max() < 4.0
    bent, usual = (a.with_pose(bolster=radians(15.0)) for a in (after, anatomy))
    assert changed_segments(after, bent) == changed_segments(anatomy, usual)
    assert changed_segments(bent, usual) == {"T12-L1", "L1-L2", "L2-L3", "L3-L4", "L4-L5", "L5-S1"}


IMPLANTS = [
    (f.InterspinousImplant("L3-L4"), "L3-L4"),
    (f.PedicleScrews("L3", "L4"), "L3"),
    (f.VertebralCement("T12", 4.0), "T12"),
    (f.LigamentCalcification("L2-L3"), "L2-L3"),
]


@pytest.mark.parametrize(("finding", "place"), IMPLANTS, ids=[f.NAMES[type(i)] for i, _ in IMPLANTS])
def test_metal_cement_and_chalk_leave_the_canal_as_it_is(anatomy, rest, finding, place):
    assert compare(rest, soft_figures(with_soft(anatomy, finding))) == {}


def test_findings_add_up(anatomy, rest):
    """Two findings at two places change what each alone changes."""
    both = (f.FlavumThickening("T10-T11", 1.0), f.Adhesion("T8"))
    found = compare(rest, soft_figures(with_soft(anatomy, *both)))
    alone = {}
    for finding in both:
        alone |= compare(rest, soft_figures(with_soft(anatomy, finding)))
    assert found == pytest.approx(alone)


def test_the_order_of_findings_does_not_matter(anatomy):
    both = (f.CentralStenosis("T10-T11"), f.EpiduralLipomatosis("T8", "T9"))
    first, second = with_soft(anatomy, *both), with_soft(anatomy, *both[::-1])
    assert soft_figures(first) == soft_figures(second)


def test_all_levels_have_figures(rest):
    assert {place for place, _ in rest} >= set(LEVELS[2:])
