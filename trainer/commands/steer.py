"""`trainer steer`: moves a lead by a script, from a given placement of the needle's mouth."""

import math
import sys
from typing import Annotated, NamedTuple

import typer

from trainer.commands.answers import answer, as_json, grid, progress
from trainer.commands.options import (
    AsJson,
    Case,
    Interspace,
    Settings,
    chosen_case,
    compiled_first,
    named_path,
)

# What a script may ask for: word -> (unit, least, most). More in one go than a lead is long is a slip.
WORDS = {
    "advance": ("mm", 0.0, 500.0),
    "withdraw": ("mm", 0.0, 500.0),
    "rotate": ("degrees", -3600.0, 3600.0),
    "saline": ("ml", 0.0, 10.0),
}


class Command(NamedTuple):
    """One line of a script."""

    source: str
    line: int
    word: str
    amount: float

    def __str__(self):
        return f"{self.word} {self.amount:g}"


def read_script(text, *, source):
    """Return the Commands of a script; empty lines and what follows a `#` are left out.

    Raises
    ------
    ValueError
        If a line is no command; the sentence names `source` and the line.
    """
    lines = enumerate((line.partition("#")[0].split() for line in text.splitlines()), start=1)
    commands = [_command(source, number, words) for number, words in lines if words]
    if not commands:
        raise ValueError(
            f"{source}: the script must hold at least one command, got none: write like advance 5"
        )
    return commands


def _command(source, number, words):
    place = f"{source} line {number}"
    if len(words) != 2 or words[0] not in WORDS:
        raise ValueError(
            f"{place}: the line must be one of {', '.join(WORDS)} and an amount, got {' '.join(words)!r}: "
            "write like advance 5"
        )
    unit, low, high = WORDS[words[0]]
    try:
        amount = float(words[1])
    except ValueError:
        raise ValueError(
            f"{place}: the amount must be a number, got {words[1]!r}: write like {words[0]} 5"
        ) from None
    if not low <= amount <= high or not math.isfinite(amount):
        raise ValueError(
            f"{place}: the amount must lie between {low:g} and {high:g} {unit}, got {words[1]}: "
            "choose a value inside"
        )
    return Command(source, number, words[0], amount)


def script_text(name):
    """Return the text of a script file, or of standard input for '-'; raises ValueError, OSError."""
    try:
        # Some editors put a mark of the encoding in front.
        text = sys.stdin.read() if name == "-" else named_path(name).read_text(encoding="utf-8-sig")
        return text.removeprefix("\ufeff")
    except UnicodeDecodeError:
        raise ValueError(
            f"{name}: the script must be UTF-8 text, got other bytes: save it as UTF-8"
        ) from None


def steps(scenario, commands, *, interspace, offset, approach, medial, properties=None, report=None):
    """Yield (words, LeadState, LeadReading, LeadWarnings) after insertion and each command. [mm], [rad]

    Raises ValueError, naming the line of the script, for a command that cannot be done.
    """
    from meshes.anatomy import build_anatomy
    from meshes.levels import check_interspace
    from trainer.physics.lead import insert_lead
    from trainer.physics.lead_warnings import lead_warnings
    from trainer.physics.mouth import mouth_from_placement
    from trainer.physics.readings import read_lead

    interspace = check_interspace(interspace)
    anatomy = build_anatomy(scenario.anatomy.parameters(), progress=report)
    mouth = mouth_from_placement(
        anatomy.canal, interspace=interspace, offset=offset, approach=approach, medial=medial
    )
    lead = insert_lead(anatomy.canal, mouth, properties)
    yield "inserted", lead, read_lead(lead, anatomy), ()
    for command in commands:
        before, lead = lead, _moved(lead, command)
        yield str(command), lead, read_lead(lead, anatomy), lead_warnings(before, lead)


def _moved(lead, command):
    from meshes.units import radians
    from trainer.physics.lead import advance, rotate
    from trainer.physics.lead_release import inject_saline

    try:
        if command.word == "saline":
            return inject_saline(lead, command.amount)
        if command.word == "rotate":
            return rotate(lead, radians(command.amount))
        return advance(lead, command.amount if command.word == "advance" else -command.amount)
    except ValueError as error:
        raise ValueError(f"{command.source} line {command.line}: {error}") from None


def facts(words, lead, reading, warnings):
    """Return {name: value} of one state of the lead in edge units, as plain values."""
    from meshes.units import degrees

    return {
        "after": words,
        "fed_mm": lead.fed,
        "tip_level": reading.tip_level,
        "tip_offset_mm": reading.tip.anatomic_offset,
        "clock": reading.clock,
        "clock_angle_deg": degrees(reading.clock_angle),
        "push_n": reading.push,
        "dent_near_mouth_mm": reading.dent_near_mouth,
        "dent_elsewhere_mm": reading.dent_elsewhere,
        "contacts": [
            {
                "number": contact.number,
                "level": contact.level,
                "offset_mm": contact.anatomic_offset,
                "region": contact.region,
            }
            for contact in reading.contacts
        ],
        "foramen": None if reading.foramen is None else str(reading.foramen),
        "warnings": [
            {
                "kind": warning.kind,
                "text": warning.text,
                "amount": warning.amount,
                "limit": warning.limit,
                "patient_says": warning.says or None,
            }
            for warning in warnings
        ],
        "converged": reading.converged,
    }


def _line(found):
    regions = "".join(contact["region"][0] for contact in found["contacts"]) or "-"
    dent = max(found["dent_near_mouth_mm"], found["dent_elsewhere_mm"])
    return (
        found["after"],
        f"{found['fed_mm']:.1f}",
        found["tip_level"],
        f"{found['tip_offset_mm']:+.1f}",
        found["clock"],
        f"{found['push_n']:.2f}",
        f"{dent:.1f}",
        regions,
        "yes" if found["converged"] else "no",
    )


HEADS = ("after", "fed mm", "tip", "offset mm", "clock", "push N", "dent mm", "contacts", "converged")


LEGEND = (
    "offset: of the tip from the midline of its vertebra, left positive",
    "clock: of the hub as the turning hand sees it, patient prone: 12 dorsal, 3 the patient's right",
    "push: by the hand, negative while it pulls; dent: of the dura; contacts from the tip: "
    "d dorsal, l lateral, v ventral",
)


def text(found):
    """Return the states as a table with what is to be told about them."""
    notes = [f"{state['after']}: {note}" for state in found for note in _notes(state)]
    return "\n".join([grid(HEADS, [_line(state) for state in found]), *notes, "", *LEGEND])


def _notes(state):
    for warning in state["warnings"]:
        said = warning["patient_says"]
        yield warning["text"] + (f"; the patient feels {said}" if said else "")
    if state["tip_level"].startswith(("above", "below")):
        yield "the tip has left the modelled canal; what is told of it means nothing"


def add_to(app):
    @app.command(name="steer")
    def steer(
        case: Case,
        script: Annotated[
            str, typer.Option(metavar="FILE", help="Commands, one a line; - reads standard input.")
        ],
        interspace: Interspace = "T12-L1",
        mouth_offset_mm: Annotated[
            float, typer.Option(help="Of the needle's mouth from the midline, left positive.")
        ] = 3.0,
        approach_deg: Annotated[
            float, typer.Option(help="Between needle and canal; 90 is square to it.")
        ] = 32.0,
        medial_deg: Annotated[float, typer.Option(help="Turn of the needle towards the midline.")] = 10.0,
        contacts: Annotated[int, typer.Option(help="Of the lead: 4, 8 or 16.")] = 8,
        stylet: Annotated[str, typer.Option(help="In the lead: curved, straight or strong.")] = "curved",
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Move a lead by a script and tell its state after each command."""
        from meshes.units import radians
        from trainer.physics.lead_kinds import lead_kind

        properties = lead_kind(contacts, stylet=stylet)
        scenario = chosen_case(case, settings)
        commands = read_script(script_text(script), source="standard input" if script == "-" else script)
        compiled_first()
        with progress("Steering") as report:
            found = [
                facts(*state)
                for state in steps(
                    scenario,
                    commands,
                    interspace=interspace,
                    offset=mouth_offset_mm,
                    approach=radians(approach_deg),
                    medial=radians(medial_deg),
                    properties=properties,
                    report=report,
                )
            ]
        answer(as_json(found) if json else text(found))
