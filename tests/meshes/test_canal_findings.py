"""Each finding of the canal changes what it should, by as much as it says, and nothing elsewhere."""

import numpy as np
import pytest
import trimesh

from meshes import findings as kinds
from meshes.anatomy import Anatomy, build_anatomy
from meshes.bones import build_bones
from meshes.canal_build import build_chart
from meshes.canal_findings import canal_changes, plateau
from meshes.parameters import SpineParameters
from meshes.tables.loader import number
from meshes.units import radians

TABLES = (
    *("wall", "dura", "cord", "bone_wall", "flavum_thickness", "friction_scale", "memory_scale"),
    *("sac_depth", "sac_width", "centre", "cord_half_depth"),
)


@pytest.fixture(scope="module")
def usual(anatomy):
    return anatomy.canal


@pytest.fixture(scope="module")
def cut():
    """Return the spine after a laminectomy at T10 with half the scar."""
    return build_anatomy(SpineParameters(findings=(kinds.Laminectomy("T10", scar=0.5),)))


def scarred(spine, scar):
    """Return the same bones with other scar."""
    finding = kinds.Laminectomy("T10", scar=scar)
    return Anatomy(spine.parameters.with_changes(findings=(finding,)), spine.bones, spine.poses)


def changed(canal, usual):
    """Return {table: (first, last) station where it differs by more than 0.01} of those that differ."""
    spans = {}
    for name in TABLES:
        before, after = (np.reshape(getattr(c, name), (len(c.u), -1)) for c in (usual, canal))
        rows = np.flatnonzero(np.abs(after - before).max(axis=1) > 0.01)
        if rows.size:
            spans[name] = (usual.u[rows[0]], usual.u[rows[-1]])
    return spans


def nested(canal):
    assert np.isfinite(canal.wall).all() and (canal.wall - canal.dura).min() > 0.2
    assert (canal.dura - canal.cord).min() >= 0.0


def depth(canal, station, theta=0.0):
    """Return the depth of the epidural space. [mm]"""
    _, _, dura, wall = canal.radii(station, theta)
    return float(wall - dura)


def across(canal, station):
    """Return the depth of the whole canal, front to back. [mm]"""
    return float(canal.radii(station, 0.0)[3] + canal.radii(station, radians(180.0))[3])


@pytest.mark.parametrize("millimetres", [2.0, 4.0])
def test_stenosis_takes_the_depth_of_the_canal_at_one_disc(anatomy, usual, millimetres):
    narrow = anatomy.with_pose(findings=(kinds.CentralStenosis("T10-T11", millimetres),)).canal
    mark = usual.interspace("T10-T11")
    disc = 0.5 * (mark.disc_caudal + mark.disc_cranial)
    lost = across(usual, disc) - across(narrow, disc)
    # The wall is blurred over a millimetre along the canal.
    assert lost == pytest.approx(millimetres, abs=0.25)
    spans = changed(narrow, usual)
    assert set(spans) == {"wall", "dura", "cord", "flavum_thickness", "sac_depth"}
    half = 0.5 * number("neuraxis", "stenosis.length") + 5.0
    for first, last in spans.values():
        assert disc - half < first < last < disc + half
    nested(narrow)


def test_stenosis_presses_the_sac_but_leaves_the_cord_its_size(anatomy, usual):
    narrow = anatomy.with_pose(findings=(kinds.CentralStenosis("T10-T11", 7.0),)).canal
    mark = usual.interspace("T10-T11")
    row = round(0.5 * (mark.disc_caudal + mark.disc_cranial))
    assert np.array_equal(narrow.cord_half_depth, usual.cord_half_depth)
    assert narrow.dura[row, 0] < usual.dura[row, 0] - 1.5
    assert narrow.sac_depth[row] > narrow.cord_half_depth[row]
    nested(narrow)


@pytest.mark.parametrize(("name", "millimetres"), [("T10-T11", 1.5), ("T12-L1", 2.0), ("L3-L4", 3.0)])
def test_thick_flavum_bulges_into_the_canal_and_keeps_its_back(anatomy, usual, name, millimetres):
    thick = anatomy.with_pose(findings=(kinds.FlavumThickening(name, millimetres),)).canal
    row = round(usual.interspace(name).middle)
    assert usual.roof[row, 0] - thick.roof[row, 0] == pytest.approx(millimetres, abs=0.05)
    back = [c.radii(row, 0.0)[3] + np.interp(row, c.u, c.flavum_thickness) for c in (usual, thick)]
    assert back[1] == pytest.approx(back[0], abs=0.15)
    spans = changed(thick, usual)
    assert set(spans) <= {"wall", "dura", "cord", "flavum_thickness"}
    mark = usual.interspace(name)
    for first, last in spans.values():
        # To the side the ligament reaches higher than on the midline.
        assert mark.flavum_caudal - 8.0 < first < last < mark.flavum_cranial + 12.0
    assert not thick.ossified
    nested(thick)


def test_ossified_flavum_is_told(anatomy):
    finding = kinds.FlavumThickening("T10-T11", 2.0, ossified=True)
    canal = anatomy.with_pose(findings=(finding,)).canal
    assert canal.ossified == ("T10-T11",)
    assert canal.flavum_state("T10-T11", 2.0) == "bone"
    assert canal.flavum_state("T11-T12", 2.0) == "whole"


def test_lipomatosis_deepens_the_fat_at_the_cost_of_the_sac(anatomy, usual):
    fat = anatomy.with_pose(findings=(kinds.EpiduralLipomatosis("T7", "T9", 3.0),)).canal
    mark = usual.interspace("T8-T9")
    here = fat.interspace("T8-T9")
    assert depth(fat, here.middle) - depth(usual, mark.middle) == pytest.approx(3.0, abs=0.3)
    # More than 7 mm is called lipomatosis, 6 to 7 mm abnormal (radiology reference pages).
    assert max(depth(fat, u) for u in np.arange(here.flavum_caudal, here.flavum_cranial)) > 7.0
    at = round(fat.station("T8"))
    assert usual.sac_depth[round(usual.station("T8"))] - fat.sac_depth[at] == pytest.approx(1.5, abs=0.05)
    nested(fat)


def test_lipomatosis_leaves_other_levels_alone(anatomy, usual):
    """The axis moves with the sac, so that what is far away is compared in millimetres of the body."""
    fat = anatomy.with_pose(findings=(kinds.EpiduralLipomatosis("T7", "T9", 3.0),)).canal
    for name in ("T11-T12", "T12-L1", "L2-L3"):
        assert depth(fat, fat.interspace(name).middle) == pytest.approx(
            depth(usual, usual.interspace(name).middle), abs=0.03
        )
    far = np.flatnonzero(usual.u < usual.station("T11"))
    assert fat.centre[far] == pytest.approx(usual.centre[far], abs=1e-3)
    front = [
        c.to_world(c.station("T8"), radians(180.0), c.radii(c.station("T8"), radians(180.0))[3])
        for c in (fat, usual)
    ]
    assert front[0] == pytest.approx(front[1], abs=0.4)


def test_adhesion_grips_over_its_length_and_moves_nothing(anatomy, usual):
    grip = anatomy.with_pose(findings=(kinds.Adhesion("T10", 5.0, 12.0, 16.0),)).canal
    spans = changed(grip, usual)
    assert set(spans) == {"friction_scale", "memory_scale"}
    middle = usual.station("T10")
    assert grip.friction_scale.max() == pytest.approx(5.0)
    assert grip.memory_scale.max() == pytest.approx(12.0)
    for first, last in spans.values():
        assert middle - 10.0 < first < middle - 6.0 and middle + 6.0 < last < middle + 10.0


def test_two_adhesions_multiply(anatomy):
    both = (kinds.Adhesion("T10", 2.0, 2.0, 60.0), kinds.Adhesion("T9", 3.0, 1.0, 60.0))
    canal = anatomy.with_pose(findings=both).canal
    assert canal.friction_scale.max() == pytest.approx(6.0)


def test_laminectomy_removes_the_flava_of_both_neighbours(cut, usual):
    canal = cut.canal
    assert canal.missing_flava == {"T9-T10": "both", "T10-T11": "both"}
    assert set(usual.interspaces) - set(cut.flava) == {"T9-T10", "T10-T11"}
    for name in ("T9-T10", "T10-T11"):
        assert np.interp(canal.interspace(name).middle, canal.u, canal.flavum_thickness) < 0.01
        assert canal.flavum_state(name, 3.0) == "gone"
    spans = changed(canal, usual)
    first, last = usual.interspace("T10-T11").flavum_caudal, usual.interspace("T9-T10").lamina_caudal_edge
    for name in ("friction_scale", "memory_scale"):
        assert spans[name][0] > first - 2.0 and spans[name][1] < last + 2.0
    for name in ("wall", "dura"):
        # Under the lamina above, as far as the flavum held on to it.
        assert spans[name][0] > first - 8.0
        assert spans[name][1] < usual.interspace("T9-T10").flavum_cranial + 12.0
    assert not {"sac_depth", "sac_width", "centre", "cord_half_depth"} & set(spans)
    nested(canal)


def test_bed_of_a_laminectomy_lies_on_the_dura_where_the_scar_is_dense(cut, usual):
    free, dense = (scarred(cut, scar).canal for scar in (0.0, 1.0))
    row = usual.station("T10") - 6.0
    ellipse = float(np.interp(row, usual.u, usual.sac_depth))
    assert depth(free, row) > 1.5
    dented = dense.radii(row, 0.0)[3] - ellipse
    assert dented == pytest.approx(number("neuraxis", "scar.dent"), abs=0.15)
    assert dense.friction_scale.max() == pytest.approx(number("neuraxis", "scar.friction"))
    assert np.array_equal(free.friction_scale, usual.friction_scale)
    nested(free)
    nested(dense)


def test_laminotomy_of_one_side_leaves_the_other(anatomy, usual):
    """On whole bones, so that only what the canal makes of the finding shows."""
    cut = kinds.Laminectomy("T10", scar=1.0, side="left")
    spine = Anatomy(anatomy.parameters.with_changes(findings=(cut,)), anatomy.bones, anatomy.poses)
    row = usual.station("T10") - 6.0
    left, right = radians(20.0), radians(-20.0)
    assert depth(usual, row, left) - depth(spine.canal, row, left) > 1.0
    assert depth(spine.canal, row, right) == pytest.approx(depth(usual, row, right), abs=0.1)
    assert spine.canal.flavum_state("T10-T11", 3.0) == "gone"
    assert spine.canal.flavum_state("T10-T11", -3.0) == "whole"
    half = trimesh.Trimesh(*spine.flava["T10-T11"], process=False)
    assert half.is_watertight and half.bounds[1, 0] < 0.5


def test_gap_parts_the_flavum_on_the_midline_only(anatomy, usual):
    spine = anatomy.with_pose(flavum_gaps=("T10-T11",))
    assert changed(spine.canal, usual) == {}
    assert spine.canal.flavum_state("T10-T11", 0.4) == "parted"
    assert spine.canal.flavum_state("T10-T11", 2.0) == "whole"
    assert spine.canal.flavum_state("T11-T12", 0.4) == "whole"
    parted = trimesh.Trimesh(*spine.flava["T10-T11"], process=False)
    assert parted.is_watertight and parted.body_count == 2
    x = np.abs(parted.vertices[:, 0])
    assert x.min() == pytest.approx(0.5 * number("flavum", "gap_width"), abs=0.2)
    assert np.array_equal(spine.flava["T11-T12"][0], anatomy.flava["T11-T12"][0])


def test_findings_outside_the_chart_change_nothing(usual):
    outside = (kinds.CentralStenosis("L5-S1"), kinds.FlavumThickening("L5-S1"), kinds.Adhesion("S1"))
    marks = {name: mark for name, mark in usual.interspaces.items() if name != "L5-S1"}
    changes = canal_changes(outside, usual.u, marks=marks, spans=usual.level_spans[1:])
    assert changes.flavum == {} and changes.narrowing.max() == 0.0
    assert changes.friction.max() == changes.memory.max() == 1.0
    whole = canal_changes(outside, usual.u, marks=usual.interspaces, spans=usual.level_spans)
    assert whole.flavum and whole.narrowing.max() > 2.9 and whole.friction.max() > 4.9


def test_findings_at_the_sacrum_act_there(anatomy, usual):
    mark = usual.interspace("L5-S1")
    disc = 0.5 * (mark.disc_caudal + mark.disc_cranial)
    narrow = anatomy.with_pose(findings=(kinds.CentralStenosis("L5-S1", 4.0),)).canal
    assert usual.sac_depth[round(disc)] - narrow.sac_depth[round(disc)] == pytest.approx(1.2, abs=0.05)
    assert changed(narrow, usual)["wall"][1] < disc + 14.0
    thick = anatomy.with_pose(findings=(kinds.FlavumThickening("L5-S1", 2.0, ossified=True),)).canal
    assert depth(usual, mark.middle) - depth(thick, mark.middle) == pytest.approx(2.0, abs=0.3)
    assert thick.flavum_state("L5-S1", 1.0) == "bone"
    grip = anatomy.with_pose(findings=(kinds.Adhesion("S1", 5.0, 12.0, 10.0),)).canal
    assert grip.friction_scale[round(usual.station("S1"))] == pytest.approx(5.0)
    fat = anatomy.with_pose(findings=(kinds.EpiduralLipomatosis("L4", "S1", 3.0),)).canal
    assert depth(fat, fat.interspace("L5-S1").middle) - depth(usual, mark.middle) > 1.5
    for canal in (narrow, thick, grip, fat):
        nested(canal)


def test_laminectomy_of_l5_opens_the_lowest_interspace(usual):
    open_back = build_anatomy(SpineParameters(findings=(kinds.Laminectomy("L5", scar=0.0),)))
    canal = open_back.canal
    assert canal.missing_flava == {"L5-S1": "both", "L4-L5": "both"}
    assert canal.flavum_state("L5-S1", 2.0) == "gone" and "L5-S1" not in open_back.flava
    middle = canal.interspace("L5-S1").middle
    assert np.interp(middle, canal.u, canal.flavum_thickness) < 0.05
    lamina = slice(
        round(usual.interspace("L5-S1").lamina_caudal_edge), round(usual.interspace("L4-L5").flavum_caudal)
    )
    assert canal.bone_wall[lamina, 0].min() > usual.bone_wall[lamina, 0].min() + 3.0
    nested(canal)


def test_findings_add_up_and_stay_nested(anatomy):
    findings = (
        kinds.CentralStenosis("T9-T10", 7.0),
        kinds.FlavumThickening("T9-T10", 6.0, ossified=True),
        kinds.EpiduralLipomatosis("T6", "T10", 6.0),
        kinds.CentralStenosis("T12-L1", 7.0),
        kinds.Adhesion("T9", 15.0, 20.0, 60.0),
    )
    nested(anatomy.with_pose(findings=findings, flavum_scale=2.0, disc_loss=0.6).canal)


def test_the_sac_keeps_its_share_of_a_narrow_canal(anatomy, usual):
    parameters = anatomy.parameters.with_changes(canal_scale=0.9)
    narrow = build_chart(build_bones(parameters, pitch=1.6), anatomy.poses, parameters)
    for level in ("T8", "T12", "L3"):
        ratio = narrow.sac_depth[round(narrow.station(level))] / usual.sac_depth[round(usual.station(level))]
        assert ratio == pytest.approx(0.9, abs=0.01)
    assert narrow.cord_half_depth.max() == pytest.approx(usual.cord_half_depth.max(), abs=0.01)
    nested(narrow)


def test_plateau():
    """By hand: one inside, half at the middle of the edge, none beyond."""
    u = np.array([-3.1, -1.5, 0.0, 5.0, 10.0, 11.5, 13.1])
    assert plateau(u, 0.0, 10.0, edge=3.0) == pytest.approx([0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0])
