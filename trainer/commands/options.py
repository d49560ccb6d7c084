"""Arguments and options that several commands share, and how their text becomes values."""

import tomllib
from typing import Annotated

import typer

Case = Annotated[
    str,
    typer.Argument(metavar="CASE", help="Name of a built-in case, path of a TOML file, or draw:SEED."),
]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set", metavar="NAME=VALUE", help="Change a value of the case's anatomy; may be repeated."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Answer in plain JSON.")]
Interspace = Annotated[str, typer.Option(help="Where the needle passes, like T12-L1.")]


def chosen_case(case, settings):
    """Return the Scenario of a CASE argument with the `--set` options applied; raises ValueError."""
    from scenarios import library

    scenario = library.load(case)
    changes = dict(_setting(text) for text in settings or ())
    return scenario.with_settings(changes) if changes else scenario


def _setting(text):
    name, sign, value = (part.strip() for part in text.partition("="))
    if not sign or not name or not value:
        raise ValueError(f"--set must be NAME=VALUE, got {text!r}: write like --set lumbar_lordosis_deg=60")
    return name, _value(value)


def _value(text):
    """Read a number or a truth value as TOML does; anything else is text, with or without quotes."""
    try:
        content = tomllib.loads(f"value = {text}")
    except tomllib.TOMLDecodeError:
        return text
    return content["value"] if content.keys() == {"value"} else text
