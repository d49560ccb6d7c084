"""Slices as pictures: what is bright, what findings change, noise, window, threads, marks."""

import numpy as np
import pytest

from meshes import findings as f
from meshes.anatomy import build_anatomy
from meshes.parameters import SpineParameters
from meshes.tables.loader import number
from trainer.physics import slice_tissues as t
from trainer.physics.slice_fields import degeneration, tissue_fields
from trainer.physics.slice_kernels import paint
from trainer.physics.slice_marks import mark_slice
from trainer.physics.slice_picture import _facts, cut, slice_picture, window
from trainer.physics.slice_plane import SlicePlane, axial_plane, sagittal_plane


@pytest.fixture(scope="module")
def worn(anatomy):
    return anatomy.with_pose(findings=(f.DiscHeightLoss("L3-L4", 0.5),))


@pytest.fixture(scope="module")
def operated():
    findings = (f.PedicleScrews("L4", "L5"), f.VertebralCement("L1", 4.0))
    return build_anatomy(SpineParameters(findings=findings), pitch=1.4)


@pytest.fixture(scope="module")
def sagittal(anatomy):
    return cut(anatomy, sagittal_plane(anatomy, pitch=1.0))


def mean_of(section, tissue):
    return float(section.signal[section.tissue == tissue].mean())


def test_the_midline_shows_all_that_is_planned_on(sagittal):
    present = {t.TISSUES[k] for k in np.unique(sagittal.tissue)}
    wanted = {
        "fluid",
        "cord",
        "epidural_fat",
        "fat",
        "skin",
        "marrow",
        "cortex",
        "nucleus",
        "annulus",
        "flavum",
    }
    assert wanted | {"interspinous", "ligament", "air"} <= present
    middle = sagittal.plane.picture_point(sagittal.plane.centre * [1.0, 0.0, 1.0])
    assert sagittal.tissue_at(*middle) == t.TISSUES[sagittal.tissue[int(middle[1]), int(middle[0])]]
    assert sagittal.tissue_at(sagittal.plane.columns - 1, 100) == "air"


def test_fluid_is_brightest_then_fat_and_cord_stands_out(sagittal):
    fluid, fat, cord = (mean_of(sagittal, k) for k in (t.FLUID, t.EPIDURAL_FAT, t.CORD))
    assert fluid > fat > cord > mean_of(sagittal, t.LIGAMENT)
    assert cord < 0.6 * fluid


def test_the_conus_ends_where_the_chart_ends_the_cord(anatomy, sagittal):
    rows = np.flatnonzero((sagittal.tissue == t.CORD).any(axis=1))
    lowest = sagittal.plane.patient_point([0.0, rows.max() + 0.5])[2]
    conus = anatomy.canal.centre[anatomy.canal.cord_half_depth > 0.3][0, 2]
    assert lowest == pytest.approx(conus, abs=3.0)


def test_canal_depth_read_with_the_ruler_is_that_of_the_chart(anatomy):
    section = cut(anatomy, sagittal_plane(anatomy, pitch=0.5))
    u = anatomy.canal.station("L2")
    centre = anatomy.canal.to_world(u, 0.0, 0.0)
    row = section.plane.picture_point(centre)[1]
    line = np.isin(section.tissue[int(row)], (t.FLUID, t.DURA, t.ROOT, t.CORD))
    first, last = np.flatnonzero(line)[[0, -1]]
    _, tangent, _, _ = anatomy.canal.frame_at(u)
    depth = section.plane.ruler((first, row), (last + 1, row)) * abs(tangent[2])
    sac = anatomy.canal.radii(u, 0.0)[2] + anatomy.canal.radii(u, np.pi)[2]
    assert depth == pytest.approx(sac, abs=0.8)


def test_a_worn_disc_is_dark_and_its_neighbour_is_not(anatomy, worn):
    assert degeneration(worn.parameters, "L3-L4") == pytest.approx(0.8)
    assert degeneration(worn.parameters, "L2-L3") == 0.0

    def brightest(body, name):
        upper, lower = name.split("-")
        marks = body.landmarks.levels
        middle = 0.5 * (marks[upper].lower_endplate[0] + marks[lower].upper_endplate[0])
        plane = SlicePlane("oblique", middle, [0.0, 1.0, 0.0], [0.0, 0.0, -1.0], 24, 8)
        section = cut(body, plane)
        return np.percentile(section.signal[np.isin(section.tissue, (t.NUCLEUS, t.ANNULUS))], 90)

    assert brightest(worn, "L3-L4") < 0.45 * brightest(anatomy, "L3-L4")
    assert brightest(worn, "L2-L3") == pytest.approx(brightest(anatomy, "L2-L3"), rel=0.05)


def test_metal_is_bright_in_computed_tomography_and_a_void_in_magnetic_resonance(operated):
    plane = axial_plane(operated, "L4", pitch=1.0)
    bright, dark = cut(operated, plane, appearance="ct"), cut(operated, plane)
    metal = bright.tissue == t.METAL
    assert metal.sum() > 50
    assert bright.signal[metal].mean() > 2000.0
    assert dark.signal[metal].max() < 0.2
    assert (dark.tissue == t.METAL).sum() > metal.sum()


def test_cement_lies_in_its_body(operated):
    section = cut(operated, axial_plane(operated, "L1", pitch=1.0), appearance="ct")
    assert (section.tissue == t.CEMENT).sum() > 20


def test_a_removed_lamina_leaves_no_bone_behind_the_canal():
    body = build_anatomy(SpineParameters(findings=(f.Laminectomy("L3"),)), pitch=1.4)
    u = body.canal.station("L3", 4.0 - 12.0)
    behind = body.canal.to_world(u, 0.0, np.linspace(10.0, 26.0, 12))
    from trainer.physics.slice_picture import tissue_of

    assert not np.isin(tissue_of(body, behind), (t.CORTEX, t.MARROW)).any()


def test_borders_lie_between_what_meets_there(anatomy):
    """Partial volume: nothing in a slice without texture is brighter or darker than its tissues."""
    plane = axial_plane(anatomy, "L2", pitch=1.0)
    section = cut(anatomy, plane, appearance="ct")
    level, grain = t.brightness("ct")
    spread = 6.0 * grain.max()
    assert section.signal.max() <= level[t.CORTEX] + spread
    assert section.signal.min() >= level[t.AIR] - spread
    edge = section.tissue == t.CORTEX
    assert section.signal[edge].min() < 0.8 * level[t.CORTEX]


def test_a_thin_slice_holds_no_more_than_its_middle_where_nothing_changes(anatomy):
    plane = axial_plane(anatomy, "L2", pitch=2.0)
    thin, thick = (cut(anatomy, plane, appearance="ct", thickness=k) for k in (0.0, 4.0))
    assert np.array_equal(thin.tissue, thick.tissue)
    assert not np.array_equal(thin.signal, thick.signal)


def test_threads_change_nothing(anatomy):
    plane = axial_plane(anatomy, "T10", pitch=1.0)
    section = cut(anatomy, plane)
    level, grain = t.brightness("t2")
    tissue, signal = np.empty_like(section.tissue), np.empty_like(section.signal)
    arguments = (
        tissue_fields(anatomy),
        plane.patient_point([0.5, 0.5]),
        plane.pitch * plane.right,
        plane.pitch * plane.down,
        number("slices", "t2.thickness") * plane.normal,
        level,
        grain,
        t.alike("t2"),
        _facts("t2"),
    )
    for finer in (False, True):
        paint(*arguments, finer, tissue, signal, 0, plane.rows)
    assert np.array_equal(section.signal, signal)
    assert np.array_equal(section.tissue, tissue)


def test_the_same_seed_gives_the_same_picture_and_another_does_not(sagittal):
    first, again, other = (slice_picture(sagittal, rng=k) for k in (4, 4, 5))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    assert first.shape == (sagittal.plane.rows, sagittal.plane.columns)


def test_noise_is_as_strong_as_the_table_says(anatomy):
    """In a flat field the smoothed noise has the deviation of the table: in air, by computed tomography."""
    centre = [0.0, float(anatomy.tissue.skin(0.0, 100.0)) + 60.0, 100.0]
    air = cut(
        anatomy, SlicePlane("axial", centre, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], 200, 200), appearance="ct"
    )
    assert (air.tissue == t.AIR).all()
    grey = slice_picture(air, rng=2, centre=-1000.0, width=400.0)
    assert grey.std() * 400.0 / 255.0 == pytest.approx(number("slices", "ct.noise"), rel=0.05)


def test_windows_are_what_was_asked_for():
    assert window("ct", centre=40.0, width=400.0) == (-160.0, 240.0)
    assert window("t2") == (0.0, 1.0)
    with pytest.raises(ValueError, match="width must be positive"):
        window("ct", width=0.0)


def test_marks_fit_their_own_slice_only(sagittal):
    grey = slice_picture(sagittal, rng=1)
    marked = mark_slice(grey, sagittal)
    assert marked.shape == grey.shape
    assert (marked != grey).any()
    # The scale's line is as long as it says, one pixel a millimetre here.
    white = np.flatnonzero(marked[-8, :80] == 236)
    assert white[-1] - white[0] == pytest.approx(50, abs=2)
    with pytest.raises(ValueError, match="use its own slice"):
        mark_slice(grey[:-1], sagittal)


def test_thickness_is_checked(anatomy):
    with pytest.raises(ValueError, match="thickness must lie between"):
        cut(anatomy, sagittal_plane(anatomy), thickness=-1.0)
