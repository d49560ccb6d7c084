"""`trainer score`: judges a recorded attempt, under its own rubric or another."""

from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, grid, progress, tell
from trainer.commands.options import AsJson, compiled_first, named_path


def text(score):
    """Return a Score as a person reads it."""
    from trainer.scoring.words import found_words

    lines = [
        (
            item.title + (" (critical)" if item.critical else ""),
            f"{item.earned:.1f} of {item.points:g}",
            found_words(item),
            item.asked,
            item.status,
        )
        for item in score.items
    ]
    table = grid(("Criterion", "Points", "Measured", "Asked", "Status"), lines)
    return f"{table}\n\n{verdict(score)}"


def verdict(score):
    """Return what a Score comes to, in a few sentences."""
    from trainer.scoring.words import advice

    told = (
        f"{score.case}: {score.earned:.1f} of {score.points:g} points, {score.percent:.0f} percent, "
        f"{'passed' if score.passed else 'not passed'} (rubric {score.rubric}, version "
        f"{score.rubric_version}, asks for {score.pass_percent:g} percent)."
    )
    if score.critical_errors:
        told += f"\nCritical: {'; '.join(score.critical_errors)}."
    return "\n".join([told, *(f"Next time: {words}" for words in advice(score))])


def add_to(app):
    @app.command(name="score")
    def score(
        journal: Annotated[
            Path, typer.Argument(metavar="ATTEMPT.jsonl", parser=named_path, help="A recorded attempt.")
        ],
        rubric: Annotated[
            str | None, typer.Option(help="Another rubric: a built-in name or a TOML file.")
        ] = None,
        json: AsJson = False,
    ):
        """Judge a recorded attempt by its rubric; measures, points and remedies."""
        from trainer.attempt.journal import read
        from trainer.scoring.rubric import load

        record = read(journal)
        chosen = load(rubric or record.scenario.rubric)
        if record.dropped:
            tell(record.dropped)
        from trainer.attempt.replay import repeat
        from trainer.scoring.score import score_attempt

        compiled_first()
        with progress("Repeating the attempt") as report:
            replayed = repeat(record, progress=report)
            found = score_attempt(replayed.attempt, chosen)
        if not replayed.identical:
            tell(
                f"{journal} line {replayed.first_difference + 1}: from here on the repeated attempt differs "
                "from the recorded one; the score is that of the repetition"
            )
        answer(as_json(found.record()) if json else text(found))
