"""The strict base of every table of a case, and the words in which a wrong value is refused."""

from typing import get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from scenarios import toml_text

TAG = "finding"  # the key that tells which kind of finding a table holds


class Settings(BaseModel):
    """A table of a case: no unknown keys, no silent conversions, no changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


def rule(words):
    """Return the refusal '*key* `words`', with words such as 'must lie above 3, got 2: raise it'."""
    # Curly brackets would be read as fields of the template.
    return PydanticCustomError("rule", "{words}", {"words": words})


def inside(value, low, high):
    """Return `value`, or refuse it unless it lies from `low` to `high`."""
    if not low <= value <= high:
        raise rule(f"must lie between {low:.10g} and {high:.10g}, got {value:.10g}: choose a value inside")
    return value


def named(check, value):
    """Return the canonical name; the rule of a refusal is kept without the name that it starts with."""
    try:
        return check(value)
    except ValueError as error:
        raise rule(str(error).split(" ", 1)[1]) from None


def together(check, values):
    """Return `check(values)`; a refusal of values that do not fit together is told as it stands."""
    try:
        return check(values)
    except ValueError as error:
        raise PydanticCustomError("together", "{words}", {"words": str(error)}) from None


def validated(model, content, *, source, line_of=None):
    """Return a table of nested dicts as its model.

    Parameters
    ----------
    source : str
        Named in a refusal.
    line_of : callable, optional
        `line_of(path)` of a key in the text that it was read from.

    Raises
    ------
    ValueError
        One sentence that names `source`, the line, the key, the rule, what came and what to do.
    """
    try:
        return model.model_validate(content)
    except ValidationError as error:
        # A misspelt key is the cause of a missing one: name it first.
        problem, *others = sorted(
            error.errors(include_url=False), key=lambda p: p["type"] != "extra_forbidden"
        )
    line = line_of(place(problem)) if line_of else None
    where = f"{source} line {line}" if line else source
    also = f" (and {len(others)} more to correct)" if others else ""
    raise ValueError(f"{where}: {sentence(problem, model)}{also}")


_KINDS = {
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "string_type": "must be text in quotes",
    "tuple_type": "must be a list in square brackets",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
}


def place(problem):
    """Return the path of keys and places in lists of one problem that pydantic found."""
    path = problem["loc"]
    # In a list of findings pydantic puts the kind behind the place in the list.
    return path[:3] + path[4:] if path[:2] == ("anatomy", "findings") else path


def sentence(problem, case):
    """Return '*key* must *rule*, got *value*: *what to do*' for one problem; `case` is the model."""
    path = ".".join(str(part + 1 if isinstance(part, int) else part) for part in place(problem)) or "the case"
    kind, came = problem["type"], toml_text.spelled(problem["input"])
    if kind == "rule":
        return f"{path} {problem['msg']}"
    if kind == "together":
        return f"{path}: {problem['msg']}"
    if kind == "missing":
        return f"{path} must be given, got nothing: add it"
    if kind == "union_tag_not_found":
        return f"{path}.{TAG} must be given, got nothing: name the kind of finding"
    if kind == "union_tag_invalid":
        expected = problem["ctx"]["expected_tags"].replace("'", "")
        return f"{path}.{TAG} must be one of {expected}, got {problem['ctx']['tag']!r}: choose one of these"
    if kind == "extra_forbidden":
        allowed, key = ", ".join(_allowed(problem["loc"], case)), problem["loc"][-1]
        return f"{path} must be one of {allowed}, got {key!r}: rename or remove it"
    if kind == "literal_error":
        return f"{path} must be {problem['ctx']['expected']}, got {came}: correct it"
    return f"{path} {_KINDS.get(kind, 'must be valid (' + problem['msg'] + ')')}, got {came}: correct it"


def _allowed(path, model):
    """Return the keys that the table at the end of `path` takes."""
    for part in path[:-1]:
        model = _inner(model, part)
    return model.model_fields


def _inner(model, part):
    """Return the model inside another, or the members of a list of models, or the one with a tag."""
    if isinstance(part, int):
        return model[0] if isinstance(model, tuple) and len(model) == 1 else model
    if isinstance(model, tuple):
        chosen = [member for member in model if member.model_fields[TAG].default == part]
        return chosen[0] if chosen else model
    annotation = model.model_fields[part].annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return _members(annotation)


def _members(annotation):
    found = []
    for part in get_args(annotation):
        found += [part] if isinstance(part, type) and issubclass(part, BaseModel) else _members(part)
    return tuple(found)
