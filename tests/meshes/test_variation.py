"""Random adults: the same seed, the same person; within the published ranges; as correlated and as often."""

import numpy as np
import pytest
from scipy.stats import kstest, truncnorm

from meshes import findings as f
from meshes.levels import INTERSPACES
from meshes.parameters import LIMITS, SHAPE, SpineParameters
from meshes.tables.loader import number, numbers, table
from meshes.units import degrees, radians
from meshes.variation import CUT_OFF, draw_adult

PEOPLE = 3000


@pytest.fixture(scope="module")
def adults():
    return [draw_adult(rng=seed) for seed in range(PEOPLE)]


def values(adults, name, sex=None):
    return np.array([getattr(a.parameters, name) for a in adults if sex in (None, a.sex)])


def near(share, expected):
    """Return whether a counted share lies within four standard errors of the expected one."""
    return abs(share - expected) < 4.0 * np.sqrt(max(expected * (1.0 - expected), 1e-9) / PEOPLE)


def test_the_same_seed_gives_the_same_adult():
    assert draw_adult(rng=5) == draw_adult(rng=5) == draw_adult(rng=np.random.default_rng(5))
    assert draw_adult(rng=5) != draw_adult(rng=6)


def test_every_free_parameter_varies_and_what_belongs_to_the_table_does_not(adults):
    fixed = {"skin_to_epidural", "bolster"}
    for name in LIMITS:
        drawn = values(adults, name)
        assert (len(set(drawn)) == 1) == (name in fixed), name
    assert set(SHAPE) <= set(LIMITS)
    assert all(a.parameters.bolster == SpineParameters().bolster for a in adults)


@pytest.mark.parametrize("sex", ["woman", "man"])
@pytest.mark.parametrize("name", ["width_scale", "canal_scale", "lumbar_lordosis"])
def test_quantities_that_differ_by_sex_follow_their_rows(adults, name, sex):
    row, drawn = table("variation")[f"{sex}.{name}"], values(adults, name, sex)
    spread = (row.high - row.low) / 2.0
    assert np.all(np.abs(drawn - row.value) <= CUT_OFF * spread + 1e-3)
    # The reference is scipy's truncated normal distribution.
    expected = truncnorm(-CUT_OFF, CUT_OFF, loc=row.value, scale=spread)
    assert kstest(drawn, expected.cdf).pvalue > 1e-3


@pytest.mark.parametrize("name", ["window_scale", "spinous_overlap", "flavum_scale", "asymmetry"])
def test_quantities_of_both_sexes_follow_their_rows(adults, name):
    row, drawn = table("variation")[name], values(adults, name)
    expected = truncnorm(-CUT_OFF, CUT_OFF, loc=row.value, scale=(row.high - row.low) / 2.0)
    assert kstest(drawn, expected.cdf).pvalue > 1e-3


def test_the_mean_adult_is_the_default_one(adults):
    rest = SpineParameters()
    for name, slack in (("stature_scale", 0.01), ("width_scale", 0.005), ("canal_scale", 0.005)):
        assert abs(values(adults, name).mean() - getattr(rest, name)) < slack
    for name in ("lumbar_lordosis", "thoracic_kyphosis", "scoliosis"):
        assert abs(values(adults, name).mean() - getattr(rest, name)) < radians(0.6)


def test_women_and_men_are_of_published_size_to_each_other(adults):
    means = {}
    for sex in ("woman", "man"):
        length, width = values(adults, "stature_scale", sex), values(adults, "width_scale", sex)
        canal = length * values(adults, "canal_scale", sex)
        means[sex] = np.array([length.mean(), (length * width).mean(), canal.mean()])
    length, width, canal = means["woman"] / means["man"]
    # L5 posterior height 25.5 / 26.8, upper depth 33.3 / 37.1, canal 15.1 / 15.9 by 27.6 / 28.5 mm:
    # Cook and Baker, Int J Spine Surg 2021;15(6):1072-1081, Table 6.
    assert length == pytest.approx(25.5 / 26.8, abs=0.02)
    assert canal == pytest.approx(np.sqrt(15.1 / 15.9 * 27.6 / 28.5), abs=0.01)
    # Body areas of 8.22 and 10.98 cm2: Gilsanz et al., Radiology 1994;190(3):678-682.
    assert np.sqrt(8.22 / 10.98) < width < 33.3 / 37.1


def test_widths_and_heights_are_correlated(adults):
    for sex in ("woman", "man"):
        length = values(adults, "stature_scale", sex)
        width = length * values(adults, "width_scale", sex)
        assert 0.6 < np.corrcoef(length, width)[0, 1] < 0.9
        stature = np.array([a.stature for a in adults if a.sex == sex])
        # EPOLOS, Pol Arch Med Wewn 2010;120(5):189-196: moderate correlation of stature and heights.
        assert 0.5 < np.corrcoef(stature, length)[0, 1] < 0.85


def test_kyphosis_follows_lordosis_a_little(adults):
    lordosis, kyphosis = values(adults, "lumbar_lordosis"), values(adults, "thoracic_kyphosis")
    expected = number("variation", "kyphosis_with_lordosis")
    assert np.corrcoef(lordosis, kyphosis)[0, 1] == pytest.approx(expected, abs=0.06)


def test_scoliosis_is_as_frequent_as_published(adults):
    amount = np.abs(degrees(values(adults, "scoliosis")))
    # 67, 9 and 1 of 500 beyond 10, 20 and 30 degrees: Eur Spine J 2015, doi 10.1007/s00586-015-4215-4.
    assert near(np.mean(amount >= 10.0), 67 / 500)
    assert near(np.mean(amount >= 20.0), 9 / 500)
    assert amount.max() <= 30.0
    assert near(np.mean(values(adults, "scoliosis") > 0.0), 0.5)


def test_the_cord_lies_off_the_midline_as_often_as_published(adults):
    shift = np.abs(values(adults, "cord_shift"))
    assert near(np.mean(shift > number("variation", "cord_shift.centred")), 0.40)
    assert shift.max() <= 2.0


def test_gaps_ribs_and_transitional_levels_are_as_frequent_as_counted(adults):
    for name in INTERSPACES:
        share = np.mean([name in a.parameters.flavum_gaps for a in adults])
        assert near(share, numbers("variation", "flavum_gap")[name]), name
    pairs = values(adults, "rib_pairs")
    assert near(np.mean(pairs == 11), 107 / 1340)
    assert near(np.mean(pairs == 13), 5 / 1340)
    changes = [t.kind for a in adults for t in f.of_kind(a.parameters.findings, f.TransitionalLevel)]
    assert near(changes.count("sacralised") / PEOPLE, 0.123)
    assert near(changes.count("lumbarised") / PEOPLE, 0.040)
    # 51 of the 150 with a transition at the thorax have one at the sacrum: Korean J Pain, synapse 1158507.
    other = [bool(a.parameters.findings) for a in adults if a.parameters.rib_pairs != 12]
    assert abs(np.mean(other) - 51 / 150) < 4.0 * np.sqrt(0.34 * 0.66 / len(other))


def test_all_findings_of_the_draw_are_transitional_levels(adults):
    assert {type(found) for a in adults for found in a.parameters.findings} == {f.TransitionalLevel}
