"""Findings: what each takes, and which cannot be true together."""

import pytest

from meshes import findings as f
from meshes.parameters import SpineParameters, shape_facts


@pytest.mark.parametrize("kind", f.KINDS.values(), ids=f.KINDS)
def test_every_kind_stands_with_its_least(kind):
    values = {"interspace": "T12-L1", "level": "L2", "upper": "L3", "lower": "L5"}
    finding = kind(**{name: values[name] for name in f.required(kind)})
    assert SpineParameters(findings=(finding,)).findings == (finding,)
    assert f.KINDS[f.NAMES[kind]] is kind


@pytest.mark.parametrize("kind", f.KINDS.values(), ids=f.KINDS)
def test_limits_refuse_and_accept(kind):
    values = {"interspace": "T12-L1", "level": "L2", "upper": "L3", "lower": "L5"}
    place = {name: values[name] for name in f.required(kind)}
    for name, (low, high) in kind.LIMITS.items():
        for value in (low, high):
            assert getattr(kind(**place, **{name: value}), name) == value
        for value in (low - 0.01, high + 0.01, float("nan"), "much", True):
            with pytest.raises(ValueError, match=f"{name} must lie between .* choose a value inside"):
                kind(**place, **{name: value})
    for name, allowed in kind.CHOICES.items():
        assert all(getattr(kind(**place, **{name: value}), name) == value for value in allowed)
        with pytest.raises(ValueError, match=f"{name} must be one of"):
            kind(**place, **{name: "sideways"})


def test_names_are_brought_to_one_spelling():
    assert f.CentralStenosis("t10–t11").interspace == "T10-T11"
    with pytest.raises(ValueError, match="interspace must be one of"):
        f.CentralStenosis("T10-T12")
    with pytest.raises(ValueError, match="level must be one of"):
        f.Adhesion("T13")


def test_each_place_once_a_kind():
    twice = (f.CentralStenosis("T10-T11"), f.CentralStenosis("T10-T11", 5.0))
    with pytest.raises(ValueError, match="central-stenosis at T10-T11 again: remove one"):
        SpineParameters(findings=twice)
    assert (
        len(SpineParameters(findings=(f.CentralStenosis("T10-T11"), f.CentralStenosis("T9-T10"))).findings)
        == 2
    )


def test_screws_need_pedicles():
    screws = f.PedicleScrews("L3", "L5")
    with pytest.raises(ValueError, match="pedicle-screws must have a pedicle to hold, got L4"):
        f.check_findings((screws, f.Laminectomy("L4", reach="pedicles")))
    assert f.check_findings((screws, f.Laminectomy("L4", reach="facets")))
    assert f.check_findings((screws, f.Laminectomy("L2", reach="pedicles")))


def test_a_pedicle_holds_one_screw():
    with pytest.raises(
        ValueError, match="pedicle-screws must hold each level once, got L4 again in L4 to L5"
    ):
        f.check_findings((f.PedicleScrews("L2", "L4"), f.PedicleScrews("L4", "L5")))
    assert f.check_findings((f.PedicleScrews("L2", "L3"), f.PedicleScrews("L4", "L5")))


def test_cement_must_fit_its_body():
    from meshes.fits import check_fits

    small = SpineParameters(findings=(f.VertebralCement("T6", 1.0),))
    assert check_fits(small) is small
    with pytest.raises(ValueError, match="volume of vertebral-cement must be at most .* cc for T6 of this"):
        check_fits(SpineParameters(findings=(f.VertebralCement("T6", 9.0),)))
    assert check_fits(SpineParameters(findings=(f.VertebralCement("L4", 8.0),)))
    with pytest.raises(ValueError, match="at most .* cc for L4"):
        check_fits(SpineParameters(stature_scale=0.86, findings=(f.VertebralCement("L4", 8.0),)))


def test_a_calcified_ligament_needs_two_spinous_processes():
    chalk = f.LigamentCalcification("L3-L4")
    for level in ("L3", "L4"):
        with pytest.raises(ValueError, match=f"ligament-calcification must run between .* that of {level}"):
            f.check_findings((f.Laminectomy(level), chalk))
        assert f.check_findings((f.Laminectomy(level, side="right"), chalk))
    assert f.check_findings((f.Laminectomy("L5"), chalk))


def test_a_thick_flavum_needs_both_laminae():
    thick = f.FlavumThickening("L3-L4")
    for level in ("L3", "L4"):
        with pytest.raises(
            ValueError, match=f"flavum-thickening must have a flavum, got .* lamina of {level}"
        ):
            f.check_findings((thick, f.Laminectomy(level)))
        assert f.check_findings((thick, f.Laminectomy(level, side="left")))
    assert f.check_findings((thick, f.Laminectomy("L2")))


def test_a_spacer_needs_two_spinous_processes():
    spacer = f.InterspinousImplant("L3-L4")
    with pytest.raises(ValueError, match="interspinous-implant must stand between"):
        f.check_findings((spacer, f.Laminectomy("L4")))
    assert f.check_findings((spacer, f.Laminectomy("L4", side="left")))


def test_order_and_place_of_levels():
    with pytest.raises(ValueError, match="upper must not lie below lower, got L5 and L3"):
        f.check_findings((f.PedicleScrews("L5", "L3"),))
    with pytest.raises(ValueError, match="for laminectomy, got 'S1': name a level above the sacrum"):
        f.check_findings((f.Laminectomy("S1"),))
    assert f.levels_between("T12", "L2") == ("T12", "L1", "L2")


def test_only_some_findings_ask_for_new_bones():
    rest = SpineParameters()
    soft = rest.with_changes(findings=(f.CentralStenosis("T10-T11"), f.Adhesion("T9")))
    cut = rest.with_changes(findings=(f.Laminectomy("T10"),))
    assert shape_facts(soft) == shape_facts(rest)
    assert shape_facts(cut) != shape_facts(rest)


@pytest.mark.parametrize("pairs", [10, 14, 12.0, "12"])
def test_rib_pairs(pairs):
    with pytest.raises(ValueError, match="rib_pairs must be one of 11, 12, 13"):
        SpineParameters(rib_pairs=pairs)
    assert SpineParameters(rib_pairs=11).rib_pairs == 11
