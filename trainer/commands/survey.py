"""`trainer survey`: difficulty and corridors of very many anatomies, resumable."""

import re
from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, grid, progress, tell
from trainer.commands.options import AsJson, compiled_first, named_path

QUANTILES = (0.1, 0.5, 0.9)
MOST_DRAWN = 1_000_000


def drawn_names(text):
    """Return case names of a range of seeds such as '1:200', both ends included; raises ValueError."""
    match = re.fullmatch(r"([0-9]{1,10}):([0-9]{1,10})", text.strip())
    first, last = (int(part) for part in match.groups()) if match else (1, 0)
    if not first <= last or last - first >= MOST_DRAWN:
        raise ValueError(
            f"--draw must be FIRST:LAST, a rising range of at most {MOST_DRAWN} seeds, got {text!r}: "
            "write like --draw 1:200"
        )
    return [f"draw:{seed}" for seed in range(first, last + 1)]


def summary(records, interspaces):
    """Return {interspace: {what: [10 %, middle, 90 %]}}, how many are closed, and what was refused."""
    import numpy as np

    answered = [record for record in records if "refused" not in record]

    def of(name, what):
        values = [record["answers"][name][what] for record in answered]
        return [float(value) for value in np.quantile(values, QUANTILES)] if values else None

    return {
        "cases": len(records),
        "refused": {record["case"]: record["refused"] for record in records if "refused" in record},
        "interspaces": {
            name: {
                "difficulty": of(name, "difficulty"),
                "needle_difficulty": of(name, "needle_difficulty"),
                "free_share": of(name, "free_share"),
                "no_way_for_needle_and_lead": sum(
                    record["answers"][name]["best_aim"] is None for record in answered
                ),
            }
            for name in interspaces
        },
    }


def text(found, path):
    """Return a summary as a person reads it."""
    heads = ["interspace", "difficulty 10 %", "middle", "90 %", "needle alone, middle", "no way"]
    lines = []
    for name, values in found["interspaces"].items():
        hard, needle = values["difficulty"], values["needle_difficulty"]
        shown = ["-"] * 4 if hard is None else [f"{value:.0f}" for value in (*hard, needle[1])]
        lines.append([name, *shown, values["no_way_for_needle_and_lead"]])
    refused = f", {len(found['refused'])} refused" if found["refused"] else ""
    return f"{found['cases']} cases{refused}; records in {path}\n\n{grid(heads, lines)}"


def add_to(app):
    @app.command(name="survey")
    def survey(
        output: Annotated[
            Path,
            typer.Option(
                "--output", "-o", metavar="FILE.jsonl", parser=named_path,
                help="Where to keep one record a line; an unfinished file is gone on with.",
            ),
        ],
        case: Annotated[
            list[str] | None, typer.Option(help="A built-in case, a TOML file or draw:SEED; may be repeated.")
        ] = None,
        draw: Annotated[
            str | None, typer.Option(metavar="FIRST:LAST", help="Adults drawn by a range of seeds.")
        ] = None,
        interspace: Annotated[
            list[str] | None, typer.Option(help="Where the needle passes; may be repeated.")
        ] = None,
        side: Annotated[str, typer.Option(help="Of the patient: left or right.")] = "left",
        needle_mm: Annotated[float, typer.Option(help="Length of the needle.")] = 152.0,
        largest_approach_deg: Annotated[float, typer.Option(help="Steepest angle to the skin.")] = 45.0,
        workers: Annotated[
            int, typer.Option(min=1, max=512, help="Processes here, or tasks at once on a cluster.")
        ] = 2,
        cluster: Annotated[
            str | None, typer.Option(metavar="ADDRESS", help="A Dask scheduler, like tcp://host:8786.")
        ] = None,
        json: AsJson = False,
    ):  # fmt: skip
        """Ask the corridor of very many anatomies, on this machine or on a cluster."""
        from meshes.units import radians
        from trainer.physics.corridor_survey import Question, case_record
        from trainer.physics.many import ask_all

        names = [*(case or ()), *(drawn_names(draw) if draw else ())]
        if not names:
            raise ValueError("--draw or --case must name at least one case, got none: add --draw 1:20")
        asked = Question(tuple(interspace or ("T12-L1",)), side, needle_mm, radians(largest_approach_deg))
        compiled_first()
        try:
            with progress("Asking") as report:
                records = ask_all(
                    names, case_record, asked, path=output, workers=workers, cluster=cluster, progress=report
                )
        except KeyboardInterrupt:
            tell(f"trainer: interrupted; {output} keeps what had finished: the same command goes on")
            raise SystemExit(130) from None
        found = summary(records, asked.interspaces)
        answer(as_json(found) if json else text(found, output))
