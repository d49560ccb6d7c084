"""Findings that change bones: each changes what it should, and only there."""

from functools import cache

import numpy as np
import pytest
import trimesh

from meshes.dimensions import dimensions
from meshes.fields import contour, evaluate, evaluate_half, evaluate_whole
from meshes.findings import (
    REACHES,
    SIDES,
    FacetHypertrophy,
    Laminectomy,
    TransitionalLevel,
    WedgeFracture,
)
from meshes.levels import COLUMN, LEVELS
from meshes.parameters import SpineParameters
from meshes.primitives import BODY
from meshes.vertebra import neighbour_clearance, shape_column

PITCH = 1.4


@cache
def column(*findings, **sliders):
    return shape_column(SpineParameters(findings=findings, **sliders))


def changed(*findings):
    """Return the levels whose rows a finding changes."""
    there, rest = column(*findings), column()
    return {level for level in COLUMN if not np.array_equal(there[level].rows, rest[level].rows)}


def mesh(shapes, level):
    clearance, rows = neighbour_clearance(shapes, level), shapes[level].rows
    if shapes[level].symmetric:
        half, origin = evaluate_half(rows, pitch=PITCH, clearance=clearance)
        field = np.concatenate([half[:, :, :0:-1], half], axis=2)
        origin = origin - [PITCH * (half.shape[2] - 1), 0.0, 0.0]
    else:
        field, origin = evaluate_whole(rows, pitch=PITCH, clearance=clearance)
    return trimesh.Trimesh(*contour(field, origin, PITCH), process=False)


@pytest.mark.parametrize("reach", REACHES)
@pytest.mark.parametrize("side", SIDES)
def test_every_cut_leaves_one_closed_body(reach, side):
    shapes = column(*(Laminectomy(level, side, reach) for level in LEVELS))
    for level in LEVELS:
        bone = mesh(shapes, level)
        assert bone.is_watertight, level
        assert bone.body_count == 1, level
        # The ring of the canal is open: no hole is left.
        assert bone.euler_number == 2, level
        assert shapes[level].symmetric == (side == "both")


@pytest.mark.parametrize("level", ["T9", "L2"])
def test_a_cut_takes_the_roof_and_spares_the_rest(level):
    rest = column()[level]
    roof = np.array([[x, *rest.lamina.between(4.0, 0.5)] for x in (4.0, -4.0)])
    body = np.array([[0.0, -5.0, 0.0]])
    foot = np.array([[s * (0.5 * rest.canal_width + 3.5), rest.posterior_wall + 4.0, 3.0] for s in (1, -1)])
    assert (evaluate(rest.rows, np.concatenate([roof, body, foot])) < 0.0).all()
    for reach in REACHES:
        for side, gone in (("both", (True, True)), ("left", (True, False)), ("right", (False, True))):
            cut = column(Laminectomy(level, side, reach))[level]
            np.testing.assert_array_equal(evaluate(cut.rows, roof) > 0.0, gone)
            assert evaluate(cut.rows, body)[0] < 0.0
            pedicles = gone if reach == "pedicles" else (False, False)
            np.testing.assert_array_equal(evaluate(cut.rows, foot) > 0.0, pedicles)


def test_a_further_reach_takes_more_bone():
    volumes = [mesh(column(Laminectomy("L2", "both", reach)), "L2").volume for reach in REACHES]
    whole = mesh(column(), "L2").volume
    assert whole > volumes[0] + 2000.0
    assert volumes[0] > volumes[1] + 1000.0
    assert volumes[1] > volumes[2] + 2000.0


def test_a_laminectomy_changes_its_own_level_only():
    assert changed(Laminectomy("T12")) == {"T12"}


@pytest.mark.parametrize("interspace", ["T9-T10", "T12-L1", "L2-L3", "L5-S1"])
def test_thick_facets_change_the_two_bones_of_their_interspace(interspace):
    upper, lower = interspace.split("-")
    finding = FacetHypertrophy(interspace, 1.0)
    assert changed(finding) == {upper, lower}
    thick, rest = column(finding), column()
    for level in COLUMN:
        share = 0.7 if level == upper else 1.0
        assert thick[level].window_half_width == pytest.approx(share * rest[level].window_half_width)
    assert mesh(thick, upper).volume > mesh(rest, upper).volume + 50.0


def test_the_worse_of_slider_and_finding_counts():
    mild = column(FacetHypertrophy("L2-L3", 0.2), facet_hypertrophy=0.6)
    slider = column(facet_hypertrophy=0.6)
    for level in COLUMN:
        np.testing.assert_array_equal(mild[level].rows, slider[level].rows)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
def test_a_wedge_fracture_takes_height_from_the_front(share):
    broken, rest = column(WedgeFracture("L1", share))["L1"], column()["L1"]
    assert changed(WedgeFracture("L1", share)) == {"L1"}
    assert broken.anterior_height == pytest.approx((1.0 - share) * rest.anterior_height)
    assert broken.posterior_height == rest.posterior_height
    asked = np.arctan2(broken.anterior_height - broken.posterior_height, broken.body_depth)
    assert broken.wedge == pytest.approx(asked)
    others = rest.rows[:, 0] != BODY
    np.testing.assert_array_equal(broken.rows[others], rest.rows[others])
    # The plates of the mesh turn by the wedge: heights near the front and the back rim.
    heights = []
    for shape in (broken, rest):
        z = np.linspace(-25.0, 25.0, 2001)
        front = np.column_stack([np.zeros_like(z), np.full_like(z, -0.42 * shape.body_depth), z])
        heights.append((evaluate(shape.rows, front) < 0.0).sum() * (z[1] - z[0]))
    lost = 0.92 * share * rest.anterior_height
    assert heights[1] - heights[0] == pytest.approx(lost, abs=0.4 + 0.05 * lost)


def test_transitional_levels_change_the_level_that_they_name():
    assert changed(TransitionalLevel("sacralised")) == {"L5"}
    assert changed(TransitionalLevel("lumbarised")) == {"S1"}
    wings = [mesh(column(*f), "L5").volume for f in ((), (TransitionalLevel("sacralised"),))]
    assert wings[1] > wings[0] + 4000.0
    # A disc between S1 and S2: bone in front is gone there, and not behind.
    disc = [[0.0, 0.0, -16.0], [0.0, 11.0, -16.0]]
    assert (evaluate(column()["S1"].rows, disc) < 0.0).all()
    front, back = evaluate(column(TransitionalLevel("lumbarised"))["S1"].rows, disc)
    assert back < 0.0 < front
    for finding, level in ((TransitionalLevel("sacralised"), "L5"), (TransitionalLevel("lumbarised"), "S1")):
        bone = mesh(column(finding), level)
        assert bone.is_watertight
        assert bone.body_count == 1


@pytest.mark.parametrize("level", COLUMN)
def test_width_and_canal_scale_what_they_name(level):
    rest, wide, roomy = column()[level], column(width_scale=1.1)[level], column(canal_scale=1.1)[level]
    assert wide.canal_width == rest.canal_width
    assert roomy.canal_width == pytest.approx(1.1 * rest.canal_width)
    assert roomy.canal_depth == pytest.approx(1.1 * rest.canal_depth)
    # A correction of up to 2 mm is not scaled.
    assert wide.window_half_width == pytest.approx(1.1 * rest.window_half_width, abs=0.21)
    assert wide.posterior_height == roomy.posterior_height == rest.posterior_height
    spans = [np.ptp(mesh(shapes, level).vertices[:, 0]) for shapes in (column(), column(width_scale=1.1))]
    assert spans[1] / spans[0] == pytest.approx(1.1, abs=0.04)


def test_scales_reach_the_sizes_of_a_vertebra():
    rest, scaled = (
        dimensions("L3", SpineParameters(width_scale=w, canal_scale=c)) for w, c in ((1, 1), (0.9, 1.1))
    )
    assert scaled["pedicle_height"] == rest["pedicle_height"]
    assert scaled["transverse_span"] < 0.92 * rest["transverse_span"]
    assert scaled["canal_depth"] > rest["canal_depth"] + 1.0
