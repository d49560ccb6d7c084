"""`trainer demo`: the reference performer carries out a whole attempt on a built-in case."""

from pathlib import Path
from typing import Annotated

import typer

from meshes.whole_files import whole_folder
from trainer.commands.answers import answer, as_json, progress
from trainer.commands.options import AsJson, chosen_case, compiled_first, named_path

JOURNAL, RESULT = "attempt.jsonl", "result.json"


def performed(scenario, *, journal_path, report=None):
    """Return (Attempt, Performance) of the reference performer, recorded in a new journal."""
    from trainer.attempt.attempt import Attempt
    from trainer.attempt.journal import Journal
    from trainer.attempt.performer import perform

    with Journal.create(journal_path, scenario=scenario, seed=scenario.seed) as journal:
        attempt = Attempt(scenario, journal=journal, progress=report)
        return attempt, perform(attempt, progress=report)


def written(folder, attempt, performance):
    """Write report and result into a folder; return the result."""
    from dataclasses import asdict

    from trainer.records.report import write_report
    from trainer.records.result import result_of

    result = {**result_of(attempt), "performer": asdict(performance)}
    (folder / RESULT).write_text(as_json(result) + "\n", encoding="utf-8")
    write_report(folder, attempt)
    return result


def add_to(app):
    @app.command(name="demo")
    def demo(
        output: Annotated[
            Path,
            typer.Option(
                "--output", "-o", metavar="FOLDER", parser=named_path, help="Where report and journal go."
            ),
        ] = Path("trainer-demo"),
        case: Annotated[str, typer.Option(help="Built-in case or TOML file.")] = "ordinary-adult",
        json: AsJson = False,
    ):
        """Let the reference performer place a lead, and write report, journal and result."""
        scenario = chosen_case(case, None)
        with whole_folder(output) as draft:
            compiled_first()
            with progress("Attempt", patience=0.0) as report:
                attempt, performance = performed(scenario, journal_path=draft / JOURNAL, report=report)
                report(0, 1, "writing the report")
                result = written(draft, attempt, performance)
        answer(as_json(result) if json else text(output, result))


def text(folder, result):
    """Return what came of the demo as a person reads it."""
    lead = result["lead"]
    return "\n".join(
        [
            f"{result['case']}: tip at {lead['tip_level']}, {lead['offset_from_target_mm']:+.1f} mm "
            f"from the wanted line, {'placed' if lead['placed'] else 'not placed'}.",
            f"Fed {lead['fed_mm']:.0f} mm, {result['performer']['redirections']} redirections, "
            f"{result['performer']['withdrawals']} withdrawals, largest push {lead['largest_push_n']:.2f} N.",
            f"Written: {folder / 'report.html'}, {folder / JOURNAL}, {folder / RESULT}",
        ]
    )
