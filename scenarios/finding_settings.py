"""The `[[anatomy.findings]]` tables of a case: one strict model for each kind of finding."""

from dataclasses import fields
from typing import Annotated, Literal, Union

from pydantic import Field, create_model, field_validator

from meshes.findings import KINDS, NAMES, required
from meshes.levels import check_interspace, check_level
from scenarios.refusals import TAG, Settings, inside, named

# Names inside -> keys at the edge, where a length or a volume tells its unit.
EDGE = {"length": "length_mm", "volume": "volume_cc"}
INSIDE = {key: name for name, key in EDGE.items()}
PLACES = {
    "interspace": check_interspace,
    "level": check_level,
    "upper": check_level,
    "lower": check_level,
}


class FindingSettings(Settings):
    """One finding in edge units; meaning and limits as in `meshes.findings`."""

    @field_validator("*")
    @classmethod
    def _within_limits(cls, value, info):
        name = INSIDE.get(info.field_name, info.field_name)
        if name in PLACES:
            return named(PLACES[name], value)
        bounds = KINDS[cls.model_fields[TAG].default].LIMITS.get(name)
        return inside(value, *bounds) if bounds else value

    def inside(self):
        """Return the Finding, in the units inside."""
        values = {INSIDE.get(key, key): value for key, value in self.model_dump(exclude={TAG}).items()}
        return KINDS[getattr(self, TAG)](**values)


def _model(name, kind):
    keys = {TAG: (Literal[name], name)}
    for entry in fields(kind):
        choices = kind.CHOICES.get(entry.name)
        default = entry.default
        keys[EDGE.get(entry.name, entry.name)] = (
            Literal[choices] if choices else entry.type,
            ... if entry.name in required(kind) else default,
        )
    return create_model(f"{kind.__name__}Settings", __base__=FindingSettings, **keys)


def settings_of(finding):
    """Return the FindingSettings of a Finding."""
    values = {EDGE.get(entry.name, entry.name): getattr(finding, entry.name) for entry in fields(finding)}
    return MODELS[NAMES[type(finding)]](**values)


MODELS = {name: _model(name, kind) for name, kind in KINDS.items()}
AnyFinding = Annotated[Union[tuple(MODELS.values())], Field(discriminator=TAG)]  # noqa: UP007
