"""The built-in cases and cases in files."""

import pytest

from scenarios import library


def test_the_two_invented_cases():
    assert library.names() == ("heavy-adult", "ordinary-adult")
    heavy, ordinary = (library.load(name) for name in library.names())
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
        ValueError, match="case must be one of heavy-adult, ordinary-adult or the path of a TOML file, got"
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
