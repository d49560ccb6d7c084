"""`trainer records`: what people did on this machine or in this department, by pseudonym."""

from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, grid
from trainer.commands.options import AsJson, named_path

Person = Annotated[str | None, typer.Option("--person", metavar="CODE", help="Only this pseudonym.")]
CaseTitle = Annotated[str | None, typer.Option("--case", metavar="TITLE", help="Only this case.")]
SHOWN = ("started", "person", "case_title", "mode", "percent", "passed", "critical", "rubric_version")


def _open(url=None):
    from trainer.records.store import Store

    return Store(url)


def entry_of(path, *, person, station=""):
    """Return the Entry of a journal file: repeated, scored, with its times."""
    from datetime import UTC, datetime

    from trainer.attempt.journal import read
    from trainer.attempt.replay import repeat
    from trainer.records.store import Entry
    from trainer.scoring.score import score_attempt

    record = read(path)
    attempt = repeat(record).attempt
    stamps = [entry.stamp for entry in record.entries if entry.stamp is not None]
    seconds = stamps[-1] if stamps else 0.0
    began = datetime.fromtimestamp(Path(path).stat().st_mtime - seconds, UTC)
    return Entry(
        person, Path(path).read_bytes(), score_attempt(attempt),
        began.isoformat(timespec="milliseconds"), seconds, station,
    )  # fmt: skip


def _line(row):
    passed = "passed" if row["passed"] else "not passed"
    critical = f", {row['critical']} critical" if row["critical"] else ""
    return (
        f"{row['started'][:16]}  {row['person']:<12} {row['case_title']}, {row['mode']}: "
        f"{row['percent']:.0f} of 100, {passed}{critical}  {row['identity'][:8]}"
    )


def add_to(app):
    records = typer.Typer(
        help="Attempts by pseudonym: list, add, import, export, curve, cohort, delete.", no_args_is_help=True
    )
    app.add_typer(records, name="records")

    @records.command(name="list")
    def listed(person: Person = None, case: CaseTitle = None, json: AsJson = False):
        """List attempts with their scores, oldest first."""
        with _open() as store:
            rows = store.attempts(person=person, case=case)
        if json:
            answer(as_json([{name: row[name] for name in (*SHOWN, "identity")} for row in rows]))
        else:
            answer("\n".join(_line(row) for row in rows) or "No attempts.")

    @records.command(name="people")
    def people():
        """List pseudonyms with how many attempts, how many passed, and the mean score."""
        with _open() as store:
            found = store.people()
        lines = [
            f"{name:<16} {count} attempts, {passed} passed, mean {mean:.0f}"
            for name, count, passed, mean in found
        ]
        answer("\n".join(lines) or "Nobody yet.")

    @records.command(name="add")
    def add(
        journal: Annotated[Path, typer.Argument(help="Journal of an attempt.")],
        person: Annotated[str, typer.Option("--person", metavar="CODE", help="Pseudonym, no real name.")],
        station: Annotated[str, typer.Option(help="Where it was done.")] = "",
    ):
        """Score a journal and put it into the record; the same journal counts once."""
        entry = entry_of(named_path(journal), person=person, station=station)
        with _open() as store:
            new = store.add(entry)
        answer(f"{entry.score.percent:.0f} of 100. {'Added.' if new else 'It was there already.'}")

    @records.command(name="import")
    def take_over(other: Annotated[str, typer.Argument(help="Record file or URL of another station.")]):
        """Take over what another station holds; what is here already counts once."""
        if "://" not in other and not named_path(other).is_file():
            raise ValueError(f"the record must be a file or a URL, got {other!r}: check the path")
        url = other if "://" in other else f"sqlite:///{Path(other).resolve()}"
        with _open() as store, _open(url) as source:
            new = store.take_over(source)
        answer(f"{new} new attempt{'' if new == 1 else 's'}.")

    @records.command(name="export")
    def export(
        folder: Annotated[Path, typer.Argument(help="Folder for the files.")],
        person: Person = None,
        case: CaseTitle = None,
    ):
        """Write attempts.csv, criteria.csv, dictionary.csv and statements.jsonl."""
        from trainer.records.csv_export import write_csv
        from trainer.records.learning_statements import local_salt, write_statements

        folder = named_path(folder)
        with _open() as store:
            rows = store.attempts(person=person, case=case)
        paths = write_csv(folder, rows)
        statements = folder / "statements.jsonl"
        write_statements(statements, rows, salt=local_salt(_data_folder()))
        answer("\n".join(str(path) for path in (*paths, statements)))

    @records.command(name="curve")
    def curve(
        person: Annotated[str, typer.Argument(metavar="CODE", help="Pseudonym.")],
        skill: Annotated[
            str | None, typer.Option(help="Part of the rubric: plan, picture, needle or lead.")
        ] = None,
        case: CaseTitle = None,
        output: Annotated[Path | None, typer.Option("-o", "--output", help="Picture, PNG or SVG.")] = None,
    ):
        """Tell where a person stands on the learning curve, and draw it."""
        answer(_curve(person, skill, case, output))

    @records.command(name="cohort")
    def cohort(json: AsJson = False):
        """Tell how each case goes over everybody: attempts, people, passed, mean, weakest criteria."""
        from dataclasses import asdict

        from trainer.records.cohort import cohort as of_store

        with _open() as store:
            found = of_store(store)
        answer(as_json([asdict(one) for one in found]) if json else _cohort_table(found))

    @records.command(name="delete")
    def delete(
        person: Annotated[str, typer.Argument(metavar="CODE", help="Pseudonym.")],
        sure: Annotated[bool, typer.Option("--yes", help="Delete without asking.")] = False,
    ):
        """Delete everything of a person from the record."""
        if not sure and not typer.confirm(f"Delete everything of {person}?"):
            raise typer.Abort
        with _open() as store:
            count = store.delete_person(person)
        answer(f"{count} attempt{'' if count == 1 else 's'} deleted.")


def _cohort_table(found):
    if not found:
        return "No attempts."
    lines = []
    for one in found:
        weakest = "; ".join(f"{title} (-{100.0 * share:.0f} %)" for title, share in one.weakest)
        cells = (one.case, one.attempts, one.people, f"{100.0 * one.passed:.0f} %", f"{one.mean:.0f}")
        lines.append((*cells, weakest or "none"))
    return grid(("Case", "Attempts", "People", "Passed", "Mean", "Lost most in"), lines)


def _data_folder():
    import platformdirs

    from meshes.compiled import APPLICATION

    folder = Path(platformdirs.user_data_dir(APPLICATION, appauthor=False))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _curve(person, skill, case, output):
    from meshes.whole_files import whole_file
    from trainer.records.curves import cusum, learning_cusum, skill_successes

    with _open() as store:
        rows = store.attempts(person=person, case=case)
    successes = skill_successes(rows, skill=skill)
    if not successes:
        raise ValueError(f"person must have attempts in the record, got none for {person!r}: add one first")
    sums, learning = cusum(successes), learning_cusum(successes)
    words = [f"{len(successes)} attempts, {sum(successes)} passed."]
    words.append(
        f"Acceptable from attempt {sums.passed_at}." if sums.passed_at else "Not yet shown to be acceptable."
    )
    if sums.alarmed_at:
        words.append(f"Unacceptable at attempt {sums.alarmed_at}: practise with a teacher.")
    if learning.passed_at:
        words.append(f"Learned by attempt {learning.passed_at}.")
    if output is not None:
        from trainer.records.curve_plots import curve_figure, figure_bytes

        kind = output.suffix.lower().lstrip(".")
        if kind not in ("png", "svg"):
            raise ValueError(f"the picture must end in .png or .svg, got {output.name!r}: choose one")
        title = f"{person}: {skill or 'whole attempt'}"
        with whole_file(named_path(output)) as draft:
            draft.write_bytes(figure_bytes(curve_figure(successes, title=title), kind=kind))
        words.append(str(output))
    return "\n".join(words)
