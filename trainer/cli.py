"""The command line: gathers the commands, and is the one place where an error becomes a sentence.

Exit codes: 0 done, 1 a comparison failed, 2 bad input, 130 interrupted.
"""

import errno
import sys
from typing import Annotated

import typer

from trainer import __version__
from trainer.commands import (
    aim,
    anatomy,
    cases,
    corridor,
    demo,
    info,
    needle,
    perform,
    practise,
    records,
    replay,
    report,
    score,
    slices,
    steer,
    survey,
    xray,
)

app = typer.Typer(
    help="A 3D trajectory trainer for percutaneous spinal cord stimulator leads. Training aid only.",
    add_completion=False,
    pretty_exceptions_enable=False,
)
# The base of all usage errors, in whatever package this version of typer keeps it.
_USAGE = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")
BAD_INPUT, INTERRUPTED = 2, 130
_FULL = (errno.ENOSPC, errno.EDQUOT)


def _version(wanted):
    if wanted:
        print(__version__)
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _whole(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
):
    if context.invoked_subcommand is None:
        return practise.open_window()
    return None


COMMANDS = (
    practise,
    demo,
    cases,
    anatomy,
    aim,
    corridor,
    survey,
    needle,
    steer,
    xray,
    slices,
    perform,
    score,
    report,
    records,
    replay,
    info,
)
for command in COMMANDS:
    command.add_to(app)


def sentence(error):
    """Return what a person is told about an error: one line."""
    if isinstance(error, OSError) and error.errno in _FULL:
        return (
            f"the disk must have room for {error.filename or 'what is written'}, "
            f"got {error.strerror.lower()!r}: free some space and start again"
        )
    if isinstance(error, OSError) and error.strerror:
        return (
            f"{error.filename or 'the file'} must be a path that the program may use, "
            f"got {error.strerror.lower()!r}: check the path and its permissions"
        )
    if isinstance(error, _USAGE):
        return f"{' '.join(error.format_message().split()).rstrip('.')}: ask for help with --help"
    return " ".join(str(error).split())


def main(arguments=None):
    """Run the command line; ends in SystemExit with the exit code."""
    try:
        code = app(args=arguments, standalone_mode=False, prog_name="trainer")
    except (ValueError, OSError, _USAGE) as error:
        print(f"trainer: {sentence(error)}", file=sys.stderr)
        code = BAD_INPUT
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    # Some versions of typer turn Ctrl-C into the exit code themselves.
    if code == INTERRUPTED:
        print("trainer: interrupted, nothing was written", file=sys.stderr)
    sys.exit(code or 0)
