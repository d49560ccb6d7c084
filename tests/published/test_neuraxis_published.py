"""Sac, cord and fluid of the built chart against the sections that imaging series report."""

from decimal import Decimal

import numpy as np
import pytest

from meshes.levels import LEVELS
from meshes.sac_and_cord import dorsal_csf
from meshes.tables.loader import number, table
from meshes.units import radians

KEIMYUNG = "Keimyung Med J 1988;7:236, CT myelography, n=31"
FROSTELL = "Frostell et al., Front Neurol 2016;7:238"
HOLSHEIMER = "Holsheimer et al., AJNR 1994;15:951, MRI, n=26"
SAIFUDDIN = "Saifuddin et al., Spine 1998;23:1452, MRI, n=504"


@pytest.fixture(scope="module")
def canal(anatomy):
    return anatomy.canal


def at(canal, level):
    return round(canal.station(level))


# level, table of half axes, mean and standard deviation of the whole axis as printed, source
SECTIONS = [
    ("T9", "sac_depth", "11.6", "1.5", KEIMYUNG),
    ("T9", "sac_width", "13.9", "1.3", KEIMYUNG),
    ("T9", "cord_half_depth", "6.3", "0.7", KEIMYUNG),
    ("T9", "cord_half_width", "7.3", "0.7", KEIMYUNG),
    ("T6", "cord_half_width", "8.3", "2.1", FROSTELL),
    ("T6", "cord_half_depth", "6.3", "2.0", FROSTELL),
    ("T11", "cord_half_width", "9.4", "1.5", FROSTELL),
]


@pytest.mark.parametrize(("level", "name", "mean", "deviation", "source"), SECTIONS)
def test_sections_lie_well_inside_the_spread(canal, level, name, mean, deviation, source):
    built = 2.0 * getattr(canal, name)[at(canal, level)]
    # Smoothing along the column and the fill between series: half a standard deviation, not the last digit.
    assert abs(built - float(mean)) <= 0.5 * float(Decimal(deviation)), source


@pytest.mark.parametrize(
    ("level", "low", "high", "gain"), [("T11", "2.0", "6.0", "2.2"), ("T12", "1.5", "4.5", "3.4")]
)
def test_dorsal_fluid_lies_in_the_supine_range_plus_the_prone_gain(canal, level, low, high, gain):
    """Built lying prone: HOLSHEIMER's range supine, moved by no more than the gain they report."""
    row = at(canal, level)
    fluid = canal.sac_depth[row] - canal.cord_offset[row] - canal.cord_half_depth[row]
    assert float(low) <= fluid <= float(high) + float(gain), HOLSHEIMER
    assert canal.radii(canal.u[row], 0.0)[2] - canal.radii(canal.u[row], 0.0)[0] <= fluid + 1e-6


def test_cord_ends_where_the_conus_is_found(canal):
    """Mean in the lower third of L1; range middle third of T12 to upper third of L3: SAIFUDDIN."""
    tip = canal.u[canal.cord_half_width > 0.3][0]
    spans = {level: (bottom, top) for level, bottom, top in canal.level_spans}
    lower_third = spans["L1"][0] + np.ptp(spans["L1"]) / 3.0
    assert spans["L2"][1] - 1.0 <= tip <= lower_third, SAIFUDDIN
    lowest = spans["L3"][1] - np.ptp(spans["L3"]) / 3.0
    highest = spans["T12"][0] + 2.0 * np.ptp(spans["T12"]) / 3.0
    assert lowest <= tip <= highest


def test_flavum_is_the_table_between_the_laminae(canal):
    for name, mark in canal.interspaces.items():
        figure = table("flavum")[f"{name}.thickness"]
        built = np.interp(mark.middle, canal.u, canal.flavum_thickness)
        assert built == pytest.approx(figure.value, abs=0.02), figure.source


def test_sac_is_the_table_at_the_bodies(canal):
    for level in LEVELS[1:-1]:
        row = at(canal, level)
        assert 2.0 * canal.sac_depth[row] == pytest.approx(number("neuraxis", f"{level}.sac_depth"), abs=0.3)
        assert 2.0 * canal.sac_width[row] == pytest.approx(number("neuraxis", f"{level}.sac_width"), abs=0.3)


def test_dorsal_space_at_the_needle_levels_is_what_sources_remember(canal):
    """From memory / common practice: 3 to 7 mm on the midline at T11-T12 to L2-L3; within 1 mm here."""
    for name, low, high in (("T11-T12", 3, 5), ("T12-L1", 3, 6), ("L1-L2", 4, 6), ("L2-L3", 4, 7)):
        mark = canal.interspace(name)
        u = np.arange(mark.flavum_caudal, mark.flavum_cranial)
        _, _, dura, wall = canal.radii(u, radians(0.0))
        assert low - 1.0 <= (wall - dura).max() <= high + 1.0, name


def test_dorsal_space_at_t6_to_t10_is_what_sources_remember(canal):
    """From memory / common practice: 3.5 mm (3 to 5, T9-T10 2.5 to 5) at the middle of the interspace.

    Deepest under the lamina above, and not over the 6 to 7 mm from which radiology reference pages call the
    fat of the thorax abnormal.
    """
    for name, low in (("T6-T7", 3.0), ("T7-T8", 3.0), ("T8-T9", 3.0), ("T9-T10", 2.5)):
        mark = canal.interspace(name)
        _, _, dura, wall = canal.radii(mark.middle, 0.0)
        assert low <= wall - dura <= 5.0, name
        u = np.arange(mark.flavum_caudal, mark.flavum_cranial)
        _, _, dura, wall = canal.radii(u, 0.0)
        assert (wall - dura).max() < 6.2, name


def test_dorsal_fluid_thins_downward_supine_and_deepens_prone(canal):
    """Supine 4.22 +- 1.43 at T5-6, 2.51 +- 0.87 at T11-12 (Park, J Int Med Res 2016;44:950, n=346).

    Prone +2.2 at T11, +3.4 at T12: HOLSHEIMER.
    """
    stations = np.array([canal.station(level) for level in canal.levels])
    supine, prone = (
        dorsal_csf(canal.u, stations, canal.levels, scale=1.0, prone=lying) for lying in (False, True)
    )
    fluid = [supine[at(canal, level)] for level in ("T6", "T7", "T8", "T9", "T10", "T11", "T12")]
    assert np.all(np.diff(fluid) < 0.0)
    assert fluid[0] == pytest.approx(4.22, abs=1.43) and fluid[-1] == pytest.approx(2.51, abs=0.87)
    for level, gain in (("T11", 2.2), ("T12", 3.4)):
        built = prone[at(canal, level)] - supine[at(canal, level)]
        # A share of it: the whole would leave no fluid in front of the cord.
        assert 0.4 * gain < built < gain, HOLSHEIMER
    assert prone[at(canal, "T8")] == pytest.approx(supine[at(canal, "T8")], abs=0.02)
