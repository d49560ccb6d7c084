"""`trainer cases`: the built-in cases."""

from trainer.commands.answers import answer, as_json
from trainer.commands.options import AsJson

# Told in the debriefing only: what a careful reader decides, and what gives it away.
KEPT_BACK = ("decision", "time_guide_min")


def in_order(cases):
    """Return the names of cases from easy to hard: by the time a careful resident needs, then by name.

    A case that is not done takes a few minutes; it stands where an ordinary one does, so that its place tells
    nothing.
    """
    from scenarios.scenario import Scenario

    ordinary = Scenario.model_fields["time_guide_min"].default

    def needed(name):
        case = cases[name]
        return case.time_guide_min if case.decision.expected == "proceed" else ordinary

    return sorted(cases, key=lambda name: (needed(name), name))


def run(as_plain_json=False):
    """Return the text that lists the built-in cases, easy ones first."""
    from scenarios import library

    cases = {name: library.load(name) for name in library.names()}
    listed = {name: cases[name] for name in in_order(cases)}
    if as_plain_json:
        return as_json({name: _content(case) for name, case in listed.items()})
    return "\n\n".join(_described(name, case) for name, case in listed.items())


def _content(case):
    return {key: value for key, value in case.content().items() if key not in KEPT_BACK}


def _described(name, case):
    task = case.task
    return (
        f"{name}: {case.title}\n  {case.patient}\n"
        f"  Teaches: {case.teaches}\n"
        f"  Card: {card_words(case.card)}\n"
        f"  Lead to the top of {task.target_level} through {task.interspace} from the {task.side}, "
        f"approach at most {task.largest_approach_deg:g} degrees, "
        f"needles of {', '.join(f'{length:g}' for length in task.needle_lengths_mm)} mm."
    )


def card_words(card):
    """Return what a patient card holds, in one line."""
    told = [
        f"{card.sex}, {card.age}",
        f"pain in {', '.join(card.pain)}",
        f"medicines {'; '.join(map(_medicine, card.medicines)) or 'none'}",
    ]
    names = ("consent", "infection", "implants", "allergies", "slices")
    return ". ".join([*told, *(f"{name} {getattr(card, name).rstrip('.')}" for name in names)]) + "."


def _medicine(medicine):
    if medicine.stopped_days is None:
        return medicine.name
    return f"{medicine.name}, last taken {medicine.stopped_days:g} days ago"


def add_to(app):
    @app.command(name="cases")
    def cases(json: AsJson = False):
        """List the built-in cases, easy ones first: what each teaches and what its card holds."""
        answer(run(json))
