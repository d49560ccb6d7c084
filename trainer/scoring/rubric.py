"""A rubric: criteria with points and thresholds, validated, in TOML. It names measures and holds no code."""

import hashlib
import json
from pathlib import Path
from typing import Literal

from pydantic import Field, field_validator, model_validator

from scenarios import toml_text
from scenarios.card import text_of
from scenarios.refusals import Settings, inside, rule, validated
from scenarios.scenario import RUBRICS, rubric_names
from trainer.scoring.measures import MEASURES

PARTS = ("plan", "picture", "needle", "lead", "whole")
_BOUNDS = ("zero_below", "full_from", "full_to", "zero_above")


class Criterion(Settings):
    """One criterion.

    Parameters
    ----------
    key, title : str
    part : str
        Of the attempt: one of `PARTS`.
    measure : str
        Name of a measure.
    points : float
    critical : bool
        Whether no point at all in this criterion fails the attempt, whatever the other points.
    wanted : bool, optional
        The right answer of a measure that says yes or no.
    full_from, full_to : float, optional
        All points between these.
    zero_below, zero_above : float, optional
        No points beyond these; in between, points fall evenly. The full limits where left out.
    status, source : str
        Where the thresholds come from; shown to the trainee.
    remedy : str
        What to do next time.
    """

    key: str
    title: str
    part: Literal["plan", "picture", "needle", "lead", "whole"]
    measure: str
    points: float
    critical: bool = False
    wanted: bool | None = None
    full_from: float | None = None
    full_to: float | None = None
    zero_below: float | None = None
    zero_above: float | None = None
    status: Literal["published", "derived", "common practice", "from memory", "assumed"]
    source: str
    remedy: str

    _texts = field_validator("key", "title", "source", "remedy")(text_of)

    @field_validator("measure")
    @classmethod
    def _known(cls, value):
        if value not in MEASURES:
            raise rule(f"must be one of {', '.join(sorted(MEASURES))}, got {value!r}: choose one of these")
        return value

    @field_validator("points")
    @classmethod
    def _worth_something(cls, value):
        return inside(value, 0.5, 1000.0)

    @model_validator(mode="after")
    def _thresholds_in_order(self):
        given = [getattr(self, name) for name in _BOUNDS if getattr(self, name) is not None]
        if (self.wanted is None) != bool(given):
            raise rule(
                "must have either wanted, for yes and no, or full and zero limits, for a number, "
                f"got {'both' if given else 'neither'}: give one of them"
            )
        if given != sorted(given):
            raise rule(
                f"must have its limits in the order {', '.join(_BOUNDS)}, got {given}: put them in order"
            )
        return self

    def share(self, value):
        """Return which share of the points, 0 to 1, a value earns."""
        if self.wanted is not None:
            return float(value == self.wanted)
        return min(
            _ramp(value, self.zero_below, self.full_from, rising=True),
            _ramp(value, self.zero_above, self.full_to, rising=False),
        )

    @property
    def asked(self):
        """What earns all points, in words."""
        if self.wanted is not None:
            return "yes" if self.wanted else "no"
        unit = f" {MEASURES[self.measure].unit}".rstrip()
        low, high = self.full_from, self.full_to
        if low is not None and high is not None:
            return f"{low:g} to {high:g}{unit}"
        return f"at least {low:g}{unit}" if high is None else f"at most {high:g}{unit}"


def _ramp(value, zero, full, *, rising):
    """Return 1 on the good side of `full`, 0 beyond `zero`, even in between."""
    if full is None and zero is None:
        return 1.0
    full = zero if full is None else full
    zero = full if zero is None else zero
    if value == full or (value > full) == rising:
        return 1.0
    if zero == full:
        return 0.0
    return min(max((value - zero) / (full - zero), 0.0), 1.0)


class Rubric(Settings):
    """A set of criteria.

    Parameters
    ----------
    name, title : str
    version : int
        Raised whenever a change of the rubric changes scores.
    pass_percent : float
        Of the points that can be had; a critical error fails in any case.
    pass_status, pass_source : str
        Where that comes from.
    criteria : tuple of Criterion
    """

    name: str
    title: str
    version: int
    pass_percent: float
    pass_status: Literal["published", "derived", "common practice", "from memory", "assumed"]
    pass_source: str
    criteria: tuple[Criterion, ...] = Field(strict=False)

    _texts = field_validator("name", "title", "pass_source")(text_of)

    @field_validator("version")
    @classmethod
    def _counted(cls, value):
        return inside(value, 1, 10_000)

    @field_validator("pass_percent")
    @classmethod
    def _a_share(cls, value):
        return inside(value, 1.0, 100.0)

    @field_validator("criteria")
    @classmethod
    def _each_once(cls, value):
        keys = [criterion.key for criterion in value]
        if not keys:
            raise rule("must hold at least one criterion, got an empty list: add one")
        if twice := [key for key in keys if keys.count(key) > 1]:
            raise rule(f"must hold each key once, got {twice[0]!r} twice: rename one")
        return value

    @property
    def digest(self):
        """Eight hex digits that change with anything in the rubric."""
        content = json.dumps(self.model_dump(mode="json"), sort_keys=True)
        return hashlib.sha256(content.encode()).hexdigest()[:8]


def from_toml(text, *, source):
    """Return the Rubric of a TOML text.

    Raises
    ------
    ValueError
        One sentence that names `source`, the line, the key, the rule, what came and what to do.
    """
    content = toml_text.read(text, source=source)
    return validated(Rubric, content, source=source, line_of=lambda path: toml_text.line_of(text, path))


def load(name):
    """Return the Rubric of a built-in name or of a TOML file.

    Raises
    ------
    ValueError
        If there is no such rubric, or its content is refused.
    OSError
        If the file cannot be read.
    """
    path = RUBRICS / f"{name}.toml" if str(name) in rubric_names() else Path(name)
    if not path.is_file():
        raise ValueError(
            f"rubric must be one of {', '.join(rubric_names())} or the path of a TOML file, "
            f"got {str(name)!r}: choose one of these or correct the path"
        )
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ValueError(f"{path}: the file must be UTF-8 text, got other bytes: save it as UTF-8") from None
    return from_toml(text, source=str(name))
