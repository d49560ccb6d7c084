"""`trainer report`: the report of a recorded attempt, to read on the screen or to print."""

from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, progress, tell
from trainer.commands.options import compiled_first, named_path


def add_to(app):
    @app.command(name="report")
    def report(
        journal: Annotated[
            Path, typer.Argument(metavar="ATTEMPT.jsonl", parser=named_path, help="A recorded attempt.")
        ],
        output: Annotated[
            Path | None,
            typer.Option(
                "--output",
                "-o",
                metavar="FOLDER",
                parser=named_path,
                help="Where the report goes; beside the journal if not given.",
            ),
        ] = None,
        pdf: Annotated[bool, typer.Option("--pdf", help="Write report.pdf for the printer as well.")] = False,
        rubric: Annotated[
            str | None, typer.Option(help="Another rubric: a built-in name or a TOML file.")
        ] = None,
    ):
        """Write the report of a recorded attempt: score, advice, pictures, course."""
        from trainer.attempt.journal import read
        from trainer.scoring.rubric import load

        record = read(journal)
        chosen = load(rubric or record.scenario.rubric)
        if record.dropped:
            tell(record.dropped)
        folder = output or journal.parent
        folder.mkdir(parents=True, exist_ok=True)
        compiled_first()
        with progress("Repeating the attempt") as shown:
            paths = written(record, chosen, folder, pdf=pdf, source=journal, report=shown)
        answer("\n".join(str(path) for path in paths))


def written(record, rubric, folder, *, pdf, source, report):
    """Repeat a Record, write its report into a folder and return the paths."""
    from trainer.attempt.replay import repeat
    from trainer.records.report import write_report
    from trainer.scoring.score import score_attempt

    replayed = repeat(record, progress=report)
    if not replayed.identical:
        tell(
            f"{source} line {replayed.first_difference + 1}: from here on the repeated attempt differs "
            "from the recorded one; the report is that of the repetition"
        )
    score = score_attempt(replayed.attempt, rubric)
    report(0, 1, "writing the report")
    paths = [write_report(folder, replayed.attempt, score)]
    if pdf:
        from trainer.records.report_pdf import write_report_pdf

        paths.append(write_report_pdf(folder, replayed.attempt, score))
    return paths
