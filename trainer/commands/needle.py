"""`trainer needle`: push a needle step by step and read what it feels like, by script or at the keyboard."""

import math
import sys
from typing import Annotated, NamedTuple

import typer

from trainer.commands.answers import answer, as_json, grid, progress, tell
from trainer.commands.options import (
    AsJson,
    Case,
    Interspace,
    Settings,
    chosen_case,
    compiled_first,
    named_path,
)

# word -> (what its amount is, least, most); None where it takes no amount.
WORDS = {
    "push": ("mm", 0.05, 50.0),
    "back": ("mm", 0.05, 200.0),
    "steeper": ("degrees", -30.0, 30.0),
    "medial": ("degrees", -30.0, 30.0),
    "bevel": ("degrees", -360.0, 360.0),
    "stylet": ("in or out", None, None),
    "test": ("saline or air", None, None),
    "press": ("mm", 0.05, 20.0),
    "drop": (None, None, None),
    "lead": (None, None, None),
    "quit": (None, None, None),
}
CHOSEN = {"stylet": ("in", "out"), "test": ("saline", "air")}
HELP = (
    "push MM, back MM, steeper DEG, medial DEG, bevel DEG, stylet in|out, test saline|air, press MM "
    "(push with the thumb on the plunger), drop, lead, quit"
)


class Order(NamedTuple):
    """One line of a script."""

    word: str
    amount: object = None

    def __str__(self):
        return self.word if self.amount is None else f"{self.word} {_shown(self.amount)}"


def _shown(amount):
    return amount if isinstance(amount, str) else f"{amount:g}"


def read_order(line, *, place):
    """Return the Order of a line, None for an empty one; raises ValueError naming the place."""
    words = line.partition("#")[0].split()
    if not words:
        return None
    word, *rest = words
    if word not in WORDS or len(rest) != int(WORDS[word][0] is not None):
        raise ValueError(
            f"{place}: the line must be one of {HELP}, got {' '.join(words)!r}: write like push 2"
        )
    if word in CHOSEN:
        if rest[0] not in CHOSEN[word]:
            raise ValueError(
                f"{place}: {word} must be followed by {WORDS[word][0]}, got {rest[0]!r}: "
                f"write like {word} {CHOSEN[word][0]}"
            )
        return Order(word, rest[0])
    return Order(word, _amount(word, rest[0], place) if rest else None)


def _amount(word, text, place):
    unit, low, high = WORDS[word]
    try:
        amount = float(text)
    except ValueError:
        raise ValueError(f"{place}: the amount must be a number, got {text!r}: write like {word} 2") from None
    if not low <= amount <= high or not math.isfinite(amount):
        raise ValueError(
            f"{place}: the amount must lie between {low:g} and {high:g} {unit}, got {text}: "
            "choose a value inside"
        )
    return amount


def done(needle, syringe, order):
    """Return (NeedleState, Syringe, words) after an order. Raises ValueError where it cannot be done."""
    from meshes.units import radians
    from trainer.physics import loss_of_resistance, space_tests
    from trainer.physics.needle_push import push_needle, withdraw
    from trainer.physics.needle_turn import reangle, stylet, turn_bevel
    from trainer.physics.syringe import Syringe

    word, amount = order
    if word == "push":
        return push_needle(needle, amount), syringe, ""
    if word == "back":
        return withdraw(needle, amount), syringe, ""
    if word in ("steeper", "medial"):
        change = radians(amount)
        steeper, medial = (change, 0.0) if word == "steeper" else (0.0, change)
        needle, turn = reangle(needle, steeper, medial_change=medial)
        return needle, syringe, turn.advice or f"the tip moved {turn.tip_moved:.1f} mm"
    if word == "bevel":
        return turn_bevel(needle, radians(amount)), syringe, ""
    if word == "stylet":
        needle = stylet(needle, inside=amount == "in")
        return needle, syringe, space_tests.back_flow(needle).words
    if word == "test":
        fresh = syringe if syringe is not None and syringe.medium == amount else Syringe(amount)
        fresh, reading = loss_of_resistance.feel_for_loss(needle, fresh)
        return needle, fresh, _told(reading)
    if word == "press":
        needle, syringe, reading = loss_of_resistance.advance_under_pressure(
            needle, syringe or Syringe(), amount
        )
        return needle, syringe, _told(reading)
    if word == "drop":
        return needle, syringe, space_tests.hanging_drop(needle, seconds=2.0, rng=0).words
    return needle, syringe, space_tests.try_lead(needle).words


def _told(reading):
    return f"{reading.words}, {reading.pressure * 1e3:.0f} kPa, {reading.volume * 1e-3:.1f} mL"


def facts(order, before, needle, words):
    """Return {name: value} of one state of the needle in edge units, as plain values."""
    from trainer.physics.needle_consequences import complications

    return {
        "after": str(order),
        "depth_mm": needle.depth,
        "force_n": needle.force,
        "peak_n": needle.peak,
        "resistance": needle.resistance,
        "plunge_mm": needle.plunge,
        "bone": None if needle.bone is None else needle.bone.words,
        "told": [
            *([words] if words else []),
            *([f"the needle stands on {needle.bone.words}"] if needle.bone else []),
            *(f'the patient says: "{sentence}"' for sentence in needle.words),
            *(found.words for found in complications(before, needle) if found.seen),
        ],
        # What the hand cannot know.
        "hidden": {
            "tissue": needle.tissue,
            "past_flavum_mm": needle.epidural_depth,
            "dura": needle.dura,
            "dura_tented_mm": needle.tented_by,
        },
    }


HEADS = ("after", "depth mm", "force N", "peak N", "feel", "plunge mm", "gauge")


def _line(found, full):
    bar = "#" * round(10 * min(found["force_n"] / full, 1.0))
    return (
        found["after"],
        f"{found['depth_mm']:.1f}",
        f"{max(found['force_n'], 0.0):.1f}",
        f"{found['peak_n']:.1f}",
        found["resistance"],
        f"{found['plunge_mm']:.1f}",
        bar,
    )


def text(found, *, show):
    """Return the states as a table with what was seen and heard, and what lay hidden where `show`."""
    from meshes.tables.loader import number

    heads = (*HEADS, "tissue", "dura") if show else HEADS
    full, lines, notes = number("tissue", "gauge.full"), [], []
    for state in found:
        hidden = (state["hidden"]["tissue"], state["hidden"]["dura"]) if show else ()
        lines.append((*_line(state, full), *hidden))
        notes += [f"{state['depth_mm']:.1f} mm, {state['after']}: {words}" for words in state["told"]]
    return "\n".join([grid(heads, lines), "", *notes]).rstrip()


def orders_of(script):
    """Yield the Orders of a script file, or of standard input for '-'; raises ValueError, OSError."""
    try:
        lines = (
            sys.stdin if script == "-" else named_path(script).read_text(encoding="utf-8-sig").splitlines()
        )
        for number, line in enumerate(lines, start=1):
            order = read_order(line, place=f"{'standard input' if script == '-' else script} line {number}")
            if order is None:
                continue
            if order.word == "quit":
                return
            yield number, order
    except UnicodeDecodeError:
        raise ValueError(
            f"{script}: the script must be UTF-8 text, got other bytes: save it as UTF-8"
        ) from None


def performed(needle, script, *, live=None):
    """Return the facts of every order of a script; `live` is called with each as it comes."""
    found, syringe = [], None
    for number, order in orders_of(script):
        before = needle
        try:
            needle, syringe, words = done(needle, syringe, order)
        except ValueError as error:
            if live is None:
                raise ValueError(f"line {number}: {error}") from None
            tell(str(error))
            continue
        found.append(facts(order, before, needle, words))
        if live is not None:
            live(found[-1])
    return found


def add_to(app):
    @app.command(name="needle")
    def needle(
        case: Case,
        script: Annotated[
            str, typer.Option(metavar="FILE", help=f"Orders, one a line; - reads standard input. {HELP}.")
        ] = "-",
        interspace: Interspace = "T12-L1",
        side: Annotated[str, typer.Option(help="Of the patient: left or right.")] = "left",
        approach_deg: Annotated[float, typer.Option(help="Between needle and skin.")] = 35.0,
        medial_deg: Annotated[float, typer.Option(help="Turn towards the midline.")] = 12.0,
        entry_mm: Annotated[
            tuple[float, float] | None,
            typer.Option(metavar="X Z", help="Skin entry; towards 3 mm off the midline if not given."),
        ] = None,
        needle_mm: Annotated[
            float | None, typer.Option(help="Length; the case's longest if not given.")
        ] = None,
        grip: Annotated[str, typer.Option(help="Of the hand: loose, steady or braced.")] = "steady",
        sedation: Annotated[str, typer.Option(help="Of the patient: awake, light or deep.")] = "awake",
        local: Annotated[str, typer.Option(help="Local anaesthetic: none, skin or deep.")] = "skin",
        seed: Annotated[
            int | None, typer.Option(help="Of what no picture shows; the case's own if not given.")
        ] = None,
        show: Annotated[bool, typer.Option("--show", help="Tell also what the hand cannot know.")] = False,
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Push a needle step by step and tell what it feels like."""
        from trainer.commands.aim import USUAL_OFFSET_MM, check
        from trainer.physics.needle_feel import check_grip
        from trainer.physics.needle_scene import needle_scene
        from trainer.physics.needle_state import place_needle
        from trainer.physics.patient_reaction import Patient

        check_grip(grip)
        patient = Patient(local, sedation)
        scenario = chosen_case(case, settings)
        compiled_first()
        with progress("Building the anatomy") as report:
            checked = check(
                scenario, interspace=interspace, side=side, approach_deg=approach_deg, medial_deg=medial_deg,
                entry=entry_mm, target_offset=USUAL_OFFSET_MM, needle_mm=needle_mm, report=report,
            )  # fmt: skip
            scene = needle_scene(checked.anatomy, rng=scenario.seed if seed is None else seed)
            state = place_needle(scene, checked.aim, needle=checked.needle, patient=patient, grip=grip)
        live = None
        if script == "-" and sys.stdin.isatty() and not json:
            tell(HELP)
            live = lambda one: answer(text([one], show=show))  # noqa: E731 - one line is enough
        found = performed(state, script, live=live)
        if live is None:
            answer(as_json(found) if json else text(found, show=show))
