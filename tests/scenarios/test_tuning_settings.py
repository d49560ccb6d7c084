"""The `[tuning]` table of a case: its keys and ranges, the way to the lead and back, and what it refuses."""

import pytest

from meshes.tables.loader import UNITS
from meshes.units import radians
from scenarios import library
from scenarios.scenario import from_content, from_toml
from scenarios.tuning_settings import TuningSettings, figure_of, setting_name
from trainer.physics.lead_tuning import ROWS, LeadTuning, tuning_range

ORDINARY = (library.FOLDER / "ordinary-adult.toml").read_text(encoding="utf-8")
KEYS = tuple(TuningSettings.model_fields)


def tuned(*lines):
    return "\n".join([ORDINARY, "[tuning]", *lines, ""])


def test_every_figure_that_may_be_tuned_has_a_key_and_its_row():
    assert {setting_name(key): figure_of(key).key for key in KEYS} == ROWS


@pytest.mark.parametrize("key", KEYS)
def test_the_ends_of_a_range_reach_the_lead_and_what_lies_beyond_does_not(key):
    figure, name = figure_of(key), setting_name(key)
    for bound in (figure.low, figure.high):
        case = from_toml(tuned(f"{key} = {round(bound / UNITS[figure.unit], 12)!r}"), source="case.toml")
        tuning = LeadTuning(**case.tuning.inside())
        assert tuning.settings[name] == pytest.approx(bound, rel=1e-12)
        assert getattr(tuning.applied(), name) in tuning_range(name)
    beyond = 1.01 * figure.high / UNITS[figure.unit]
    with pytest.raises(ValueError, match=rf"case.toml line \d+: tuning.{key} must lie between .* got"):
        from_toml(tuned(f"{key} = {beyond!r}"), source="case.toml")


def test_a_tuned_case_comes_back_from_its_text_and_its_content():
    case = from_toml(tuned("memory_force = 0.02", "bend_angle_deg = 20.5"), source="case.toml")
    assert from_toml(case.to_toml(), source="again") == case
    assert from_content(case.content(), source="journal") == case
    assert case.tuning.inside() == {"memory_force": 0.02, "bend_angle": radians(20.5)}


def test_a_case_without_tuning_is_written_without_it():
    case = from_toml(ORDINARY, source="case.toml")
    assert case.tuning == TuningSettings() and case.tuning.inside() == {}
    assert "tuning" not in case.content() and "[tuning]" not in case.to_toml()


def test_a_wrong_line_is_told_by_its_number():
    text = tuned("# more hold", "memory_force = 0.5")
    line = text.splitlines().index("memory_force = 0.5") + 1
    with pytest.raises(ValueError, match=f"case.toml line {line}: tuning.memory_force must lie between 0.01"):
        from_toml(text, source="case.toml")
    with pytest.raises(ValueError, match="tuning.memory must be one of .*memory_force.*, got 'memory'"):
        from_toml(tuned("memory = 0.02"), source="case.toml")
    with pytest.raises(ValueError, match='tuning.memory_force must be a number, got "much"'):
        from_toml(tuned('memory_force = "much"'), source="case.toml")
