"""A case: an invented patient, an anatomy and a task, validated, in TOML in and out.

Edge units: angles in degrees in keys that end in `_deg`, lengths in mm in keys that end in `_mm`.
"""

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field, field_validator, model_validator

from meshes.levels import LEVELS, check_interspace, check_level, split_interspace
from scenarios import toml_text
from scenarios.anatomy_settings import AnatomySettings
from scenarios.card import Decision, PatientCard, text_of
from scenarios.refusals import Settings, inside, named, rule, validated
from scenarios.tuning_settings import TuningSettings

# Limits of the task: wide enough for every teaching case, narrow enough to catch a slip of the unit.
NEEDLE_LENGTH_MM = (50.0, 200.0)
APPROACH_DEG = (15.0, 75.0)
TARGET_OFFSET_MM = (-6.0, 6.0)
LARGEST_SEED = 2**32 - 1
RUBRICS = Path(__file__).with_name("rubrics")


@cache
def rubric_names():
    """Return the names of the built-in rubrics, sorted."""
    return tuple(sorted(file.stem for file in RUBRICS.glob("*.toml")))


class Task(Settings):
    """What has to be reached, from where and with what.

    Parameters
    ----------
    target_level : str
        The lead's tip shall come to the top of this body.
    target_offset_mm : float
        Of the lead from the midline, positive on the side of the needle.
    interspace, side : str
        Where the needle enters the canal, and on which side of the midline it enters the skin.
    needle_lengths_mm : tuple of float
        What lies on the table; sorted.
    largest_approach_deg : float
        Between needle and skin: what the case asks for.
    leads : int
        1 or 2. The second comes from the other side and lies on the other side of the midline.
    permitted_interspaces, permitted_targets : tuple of str
        Where a careful resident may enter, and to which body; those named above where left out.
    """

    target_level: str = "T8"
    target_offset_mm: float = 2.0
    interspace: str = "T12-L1"
    side: Literal["left", "right"] = "left"
    needle_lengths_mm: tuple[float, ...] = Field(strict=False)
    largest_approach_deg: float
    leads: int = 1
    permitted_interspaces: tuple[str, ...] = Field(default=(), strict=False)
    permitted_targets: tuple[str, ...] = Field(default=(), strict=False)

    @property
    def interspaces(self):
        """Where a careful resident may enter."""
        return tuple(dict.fromkeys((self.interspace, *self.permitted_interspaces)))

    @property
    def targets(self):
        """The bodies whose top the tip may come to."""
        return tuple(dict.fromkeys((self.target_level, *self.permitted_targets)))

    @field_validator("leads")
    @classmethod
    def _one_or_two(cls, value):
        return inside(value, 1, 2)

    @field_validator("permitted_interspaces")
    @classmethod
    def _modelled_interspaces(cls, value):
        return tuple(named(check_interspace, one) for one in value)

    @field_validator("permitted_targets")
    @classmethod
    def _modelled_targets(cls, value):
        return tuple(named(check_level, one) for one in value)

    @field_validator("target_level")
    @classmethod
    def _target_is_a_vertebra(cls, value):
        if (level := named(check_level, value)) not in LEVELS:
            raise rule(f"must be one of {', '.join(LEVELS)}, got {value!r}: name a vertebra above the sacrum")
        return level

    @field_validator("interspace")
    @classmethod
    def _modelled_interspace(cls, value):
        return named(check_interspace, value)

    @field_validator("target_offset_mm")
    @classmethod
    def _offset_within_the_canal(cls, value):
        return inside(value, *TARGET_OFFSET_MM)

    @field_validator("largest_approach_deg")
    @classmethod
    def _approach_within_limits(cls, value):
        return inside(value, *APPROACH_DEG)

    @field_validator("needle_lengths_mm")
    @classmethod
    def _at_least_one_needle(cls, value):
        if not value:
            raise rule("must hold at least one length, got an empty list: name a needle")
        return tuple(sorted({inside(length, *NEEDLE_LENGTH_MM) for length in value}))

    @model_validator(mode="after")
    def _target_above_entry(self):
        lower = LEVELS.index(self.target_level)
        if lower > LEVELS.index(split_interspace(self.interspace)[0]):
            raise rule(
                f"must have its target_level above the interspace, got {self.target_level} "
                f"and {self.interspace}: choose a higher target or a lower interspace"
            )
        return self


class Scenario(Settings):
    """A case.

    Parameters
    ----------
    title, patient : str
        What a reader is told; the patient is invented.
    seed : int
        Of everything that is drawn at random in an attempt at this case.
    version : int
        Raised whenever a change of the case changes what an attempt at it is worth.
    teaches : str
        What a trainee takes from it.
    rubric : str
        Name of the rubric that it is scored by.
    time_guide_min : float
        What a careful resident needs, from opening the card. [min]
    card : PatientCard
    decision : Decision
    anatomy : AnatomySettings
    task : Task
    tuning : TuningSettings
        Figures of the lead that an expert has set; empty in an ordinary case.
    """

    title: str
    patient: str
    seed: int
    version: int = 1
    teaches: str = "needle and lead"
    rubric: str = "default"
    time_guide_min: float = 45.0
    card: PatientCard = PatientCard()
    decision: Decision = Decision()
    anatomy: AnatomySettings = AnatomySettings()
    task: Task
    tuning: TuningSettings = TuningSettings()

    _texts = field_validator("title", "patient", "teaches")(text_of)

    @field_validator("version")
    @classmethod
    def _counted(cls, value):
        return inside(value, 1, 10_000)

    @field_validator("time_guide_min")
    @classmethod
    def _within_a_morning(cls, value):
        return inside(value, 1.0, 240.0)

    @field_validator("rubric")
    @classmethod
    def _known_rubric(cls, value):
        if value not in rubric_names():
            raise rule(f"must be one of {', '.join(rubric_names())}, got {value!r}: choose one of these")
        return value

    @field_validator("seed")
    @classmethod
    def _seed_within_limits(cls, value):
        return inside(value, 0, LARGEST_SEED)

    def content(self):
        """Return nested dicts of plain values without the unset ones: what a file or a journal holds."""
        content = self.model_dump(mode="json", exclude_none=True)
        if not content["tuning"]:
            del content["tuning"]
        return content

    def to_toml(self):
        """Return the case as TOML text; `from_toml` reads it back equal."""
        return toml_text.write(self.content())

    def with_settings(self, settings):
        """Return a copy with some keys of the `anatomy` table changed.

        Parameters
        ----------
        settings : dict of str to value, in edge units

        Raises
        ------
        ValueError
            For a key or a value that the model refuses.
        """
        content = self.content()
        content["anatomy"] = {**content["anatomy"], **settings}
        return from_content(content, source="--set")


def from_toml(text, *, source):
    """Return the Scenario of a TOML text.

    Raises
    ------
    ValueError
        One sentence that names `source`, the line, the key, the rule, what came and what to do.
    """
    content = toml_text.read(text, source=source)
    return from_content(content, source=source, line_of=lambda path: toml_text.line_of(text, path))


def from_content(content, *, source, line_of=None):
    """Return the Scenario of nested dicts; raises ValueError like `from_toml`, without line numbers."""
    return validated(Scenario, content, source=source, line_of=line_of)
