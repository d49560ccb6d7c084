"""Arguments and options that several commands share, and how their text becomes values."""

import os
import tomllib
from pathlib import Path
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


def named_path(text):
    """Return the Path of an option; an empty name would mean the present folder unasked."""
    if not str(text).strip():
        raise typer.BadParameter("the path must have a name, got an empty one")
    return Path(text)


def compiled_first():
    """Compile the kernels with visible progress where this machine has not done so yet.

    Does nothing where they cannot be kept: each command then compiles what it needs.
    """
    from meshes.compiled import cache_root

    if os.access(cache_root(), os.W_OK):
        from trainer.commands.warmup import warm_up

        warm_up()


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
