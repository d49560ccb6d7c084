"""A case: an invented patient, an anatomy and a task, validated, in TOML in and out.

Edge units: angles in degrees in keys that end in `_deg`, lengths in mm in keys that end in `_mm`.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic_core import PydanticCustomError

from meshes.levels import LEVELS, check_interspace, check_level, split_interspace
from meshes.parameters import LIMITS, SpineParameters
from meshes.units import degrees, radians
from scenarios import toml_text

# Limits of the task: wide enough for every teaching case, narrow enough to catch a slip of the unit.
NEEDLE_LENGTH_MM = (50.0, 200.0)
APPROACH_DEG = (15.0, 75.0)
TARGET_OFFSET_MM = (-6.0, 6.0)
LARGEST_SEED = 2**32 - 1
_DEFAULT = SpineParameters()


class _Settings(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


def _rule(words):
    # Curly brackets would be read as fields of the template.
    return PydanticCustomError("rule", "{words}", {"words": words})


def _inside(value, low, high):
    if not low <= value <= high:
        raise _rule(f"must lie between {low:.10g} and {high:.10g}, got {value:.10g}: choose a value inside")
    return value


def parameter_name(key):
    """Return the name inside of a key of the `anatomy` table: `scoliosis_deg` -> `scoliosis`."""
    return key.removesuffix("_deg").removesuffix("_mm")


def limits(key):
    """Return (low, high) of a key of the `anatomy` table in its own unit, or None where there is none."""
    bounds = LIMITS.get(parameter_name(key))
    return tuple(degrees(b) for b in bounds) if bounds and key.endswith("_deg") else bounds


class AnatomySettings(_Settings):
    """The sliders of the spine in edge units; meaning and limits as in `meshes.parameters`."""

    stature_scale: float = _DEFAULT.stature_scale
    lumbar_lordosis_deg: float = round(degrees(_DEFAULT.lumbar_lordosis), 9)
    thoracic_kyphosis_deg: float = round(degrees(_DEFAULT.thoracic_kyphosis), 9)
    scoliosis_deg: float = round(degrees(_DEFAULT.scoliosis), 9)
    curve_top: str = _DEFAULT.curve_top
    curve_bottom: str = _DEFAULT.curve_bottom
    body_mass_index: float = _DEFAULT.body_mass_index
    skin_to_epidural_mm: float | None = _DEFAULT.skin_to_epidural
    window_scale: float = _DEFAULT.window_scale
    facet_hypertrophy: float = _DEFAULT.facet_hypertrophy
    spinous_overlap: float = _DEFAULT.spinous_overlap
    disc_loss: float = _DEFAULT.disc_loss
    flavum_scale: float = _DEFAULT.flavum_scale
    cord_shift_mm: float = _DEFAULT.cord_shift

    @field_validator("*")
    @classmethod
    def _within_limits(cls, value, info):
        bounds = limits(info.field_name)
        # Limits in degrees differ from the rounded ones in the last bit.
        return value if value is None or bounds is None else _inside(value, *(round(b, 9) for b in bounds))

    @field_validator("curve_top", "curve_bottom")
    @classmethod
    def _modelled_level(cls, value):
        return _named(check_level, value)

    def parameters(self):
        """Return SpineParameters, in the units inside."""
        values = self.model_dump()
        return SpineParameters(
            **{parameter_name(k): radians(v) if k.endswith("_deg") else v for k, v in values.items()}
        )


def _named(check, value):
    """Return the canonical name; the rule of a refusal is kept without the name that it starts with."""
    try:
        return check(value)
    except ValueError as error:
        raise _rule(str(error).split(" ", 1)[1]) from None


class Task(_Settings):
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
        Between needle and skin.
    """

    target_level: str = "T8"
    target_offset_mm: float = 2.0
    interspace: str = "T12-L1"
    side: Literal["left", "right"] = "left"
    needle_lengths_mm: tuple[float, ...] = Field(strict=False)
    largest_approach_deg: float

    @field_validator("target_level")
    @classmethod
    def _target_is_a_vertebra(cls, value):
        if (level := _named(check_level, value)) not in LEVELS:
            raise _rule(
                f"must be one of {', '.join(LEVELS)}, got {value!r}: name a vertebra above the sacrum"
            )
        return level

    @field_validator("interspace")
    @classmethod
    def _modelled_interspace(cls, value):
        return _named(check_interspace, value)

    @field_validator("target_offset_mm")
    @classmethod
    def _offset_within_the_canal(cls, value):
        return _inside(value, *TARGET_OFFSET_MM)

    @field_validator("largest_approach_deg")
    @classmethod
    def _approach_within_limits(cls, value):
        return _inside(value, *APPROACH_DEG)

    @field_validator("needle_lengths_mm")
    @classmethod
    def _at_least_one_needle(cls, value):
        if not value:
            raise _rule("must hold at least one length, got an empty list: name a needle")
        return tuple(sorted({_inside(length, *NEEDLE_LENGTH_MM) for length in value}))

    @model_validator(mode="after")
    def _target_above_entry(self):
        lower = LEVELS.index(self.target_level)
        if lower > LEVELS.index(split_interspace(self.interspace)[0]):
            raise _rule(
                f"must have its target_level above the interspace, got {self.target_level} "
                f"and {self.interspace}: choose a higher target or a lower interspace"
            )
        return self


class Scenario(_Settings):
    """A case.

    Parameters
    ----------
    title, patient : str
        What a reader is told; the patient is invented.
    seed : int
        Of everything that is drawn at random in an attempt at this case.
    anatomy : AnatomySettings
    task : Task
    """

    title: str
    patient: str
    seed: int
    anatomy: AnatomySettings = AnatomySettings()
    task: Task

    @field_validator("title", "patient")
    @classmethod
    def _says_something(cls, value):
        if not value.strip() or len(value) > 1000:
            raise _rule(f"must hold 1 to 1000 characters, got {len(value.strip())}: write a few words")
        return value

    @field_validator("seed")
    @classmethod
    def _seed_within_limits(cls, value):
        return _inside(value, 0, LARGEST_SEED)

    def content(self):
        """Return nested dicts of plain values without the unset ones: what a file or a journal holds."""
        return self.model_dump(mode="json", exclude_none=True)

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
    try:
        return Scenario.model_validate(content)
    except ValidationError as error:
        # A misspelt key is the cause of a missing one: name it first.
        problem, *others = sorted(
            error.errors(include_url=False), key=lambda p: p["type"] != "extra_forbidden"
        )
    line = line_of(problem["loc"]) if line_of else None
    place = f"{source} line {line}" if line else source
    also = f" (and {len(others)} more to correct)" if others else ""
    raise ValueError(f"{place}: {_sentence(problem)}{also}")


_KINDS = {
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "string_type": "must be text in quotes",
    "tuple_type": "must be a list in square brackets",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "literal_error": "must be 'left' or 'right'",
}


def _sentence(problem):
    """Return '*key* must *rule*, got *value*: *what to do*' for one problem that pydantic found."""
    path = ".".join(str(part) for part in problem["loc"]) or "the case"
    kind, came = problem["type"], problem["input"]
    if kind == "rule":
        return f"{path} {problem['msg']}"
    if kind == "missing":
        return f"{path} must be given, got nothing: add it"
    if kind == "extra_forbidden":
        allowed, key = ", ".join(_allowed(problem["loc"])), problem["loc"][-1]
        return f"{path} must be one of {allowed}, got {key!r}: rename or remove it"
    return f"{path} {_KINDS.get(kind, 'must be valid (' + problem['msg'] + ')')}, got {came!r}: correct it"


def _allowed(path):
    model = {"anatomy": AnatomySettings, "task": Task}.get(path[0] if len(path) > 1 else "", Scenario)
    return model.model_fields
