"""`trainer perform`: an expert or a weaker performer carries out a case, and is scored like anybody."""

from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, progress
from trainer.commands.options import AsJson, Case, chosen_case, compiled_first, named_path
from trainer.commands.score import text


def performed(scenario, *, performer, mode, output, report):
    """Return the Attempt of a named performer, recorded in a new journal where `output` is given."""
    from contextlib import nullcontext

    from trainer.attempt.attempt import Attempt
    from trainer.attempt.journal import Journal
    from trainer.attempt.performer import perform
    from trainer.attempt.performer_habits import habits_of

    habits = habits_of(performer)
    opened = (
        Journal.create(output, scenario=scenario, seed=scenario.seed, mode=mode) if output else nullcontext()
    )
    with opened as journal:
        attempt = Attempt(scenario, mode=mode, journal=journal, progress=report)
        perform(attempt, habits=habits, progress=report)
    return attempt


def add_to(app):
    @app.command(name="perform")
    def perform(
        case: Case,
        performer: Annotated[
            str,
            typer.Option(
                "--as",
                help="expert, or one with a fault: steep, off-midline, no-lateral, impatient, lost-level.",
            ),
        ] = "expert",
        output: Annotated[
            Path | None,
            typer.Option(
                "--output",
                "-o",
                metavar="ATTEMPT.jsonl",
                parser=named_path,
                help="Where the journal goes; a new file.",
            ),
        ] = None,
        assess: Annotated[bool, typer.Option("--assess", help="As an assessment.")] = False,
        json: AsJson = False,
    ):
        """Let a performer carry out a case through the same events as a person, and score it."""
        from trainer.attempt.performer_habits import habits_of

        habits_of(performer)
        scenario = chosen_case(case, None)
        compiled_first()
        from trainer.scoring.score import score_attempt

        with progress("Attempt") as report:
            attempt = performed(
                scenario,
                performer=performer,
                mode="assessment" if assess else "practice",
                output=output,
                report=report,
            )
            found = score_attempt(attempt)
        answer(as_json(found.record()) if json else text(found))
