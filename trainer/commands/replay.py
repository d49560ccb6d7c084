"""`trainer replay`: repeats a recorded attempt to the last bit and says whether it agreed."""

from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, progress, tell
from trainer.commands.options import AsJson, compiled_first, named_path

DIFFERENT = 1


def facts(record, replayed):
    """Return {name: value} of a repetition, as plain values."""
    from trainer.records.result import result_of

    return {
        "identical": replayed.identical,
        "first_difference": replayed.first_difference,
        "same_version": replayed.same_version,
        "dropped": record.dropped,
        "events": len(record.entries),
        "result": result_of(replayed.attempt),
    }


def text(found):
    """Return the facts of `facts` as a person reads them."""
    if found["identical"]:
        told = f"All {found['events']} events repeated to the last bit."
    else:
        told = f"Event {found['first_difference']} of {found['events']} led to another state than recorded."
    if not found["same_version"]:
        told += " The journal was written by another version of the program or its tables."
    return f"{told}\nThe attempt stands in the phase {found['result']['phase']}."


def add_to(app):
    @app.command(name="replay")
    def replay(
        journal: Annotated[
            Path, typer.Argument(metavar="ATTEMPT.jsonl", parser=named_path, help="A recorded attempt.")
        ],
        json: AsJson = False,
    ):
        """Repeat a recorded attempt and compare it bit by bit; exit code 1 if it differs."""
        from trainer.attempt.journal import read

        record = read(journal)
        if record.dropped:
            tell(record.dropped)
        from trainer.attempt.replay import repeat

        compiled_first()
        with progress("Repeating the attempt") as report:
            replayed = repeat(record, progress=report)
            found = facts(record, replayed)
        answer(as_json(found) if json else text(found))
        if not replayed.identical:
            raise typer.Exit(DIFFERENT)
