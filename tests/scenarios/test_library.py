"""The built-in cases and cases in files."""

import pytest

from meshes.variation import draw_adult
from scenarios import library
from scenarios.scenario import from_toml


def test_the_two_reference_cases():
    heavy, ordinary = (library.load(name) for name in ("heavy-adult", "ordinary-adult"))
    assert heavy.anatomy.body_mass_index >= 38.0
    assert max(heavy.task.needle_lengths_mm) > max(ordinary.task.needle_lengths_mm)
    for case in (heavy, ordinary):
        assert case.patient.startswith("Invented")
        assert (case.task.target_level, case.task.interspace) == ("T8", "T12-L1")
        # A perfectly symmetric spine would keep a central lead at exactly zero.
        assert case.anatomy.cord_shift_mm != 0.0
        assert case.anatomy.scoliosis_deg != 0.0


def test_a_file_of_the_users_own(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(library.load("heavy-adult").to_toml(), encoding="utf-8")
    assert library.load(file) == library.load("heavy-adult")
    assert library.load(str(file)) == library.load("heavy-adult")


@pytest.mark.parametrize("case", ["light-adult", "no/such/file.toml", ""])
def test_an_unknown_case_lists_what_exists(case):
    with pytest.raises(
        ValueError,
        match=f"case must be one of {', '.join(library.names())}, draw:SEED or the path of a TOML file, got",
    ):
        library.load(case)


def test_a_folder_is_no_case(tmp_path):
    with pytest.raises(ValueError, match="case must be one of"):
        library.load(tmp_path)


def test_a_file_that_is_not_text_is_refused_with_its_line(tmp_path):
    file = tmp_path / "latin.toml"
    file.write_bytes('title = "x"\npatient = "Ménard"\n'.encode("latin-1"))
    with pytest.raises(ValueError, match=r"latin\.toml line 2: the file must be UTF-8 text, got the byte"):
        library.load(file)


def test_a_drawn_case_is_the_same_every_time_and_can_be_kept_as_a_file():
    first, again, other = (library.load(f"draw:{seed}") for seed in (17, 17, 18))
    assert first == again
    assert first.anatomy != other.anatomy
    assert first.seed == 17
    assert first.anatomy.parameters() == draw_adult(rng=17).parameters
    assert from_toml(first.to_toml(), source="kept.toml") == first
    assert library.load("draw:4294967295").seed == 4294967295


@pytest.mark.parametrize("seed", ["", "-1", "1.5", "four", "4294967296", "17 "])
def test_a_seed_is_a_whole_number(seed):
    with pytest.raises(
        ValueError, match="seed of a drawn case must be a whole number from 0 to 4294967295, got"
    ):
        library.load(f"draw:{seed}")
