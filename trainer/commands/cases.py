"""`trainer cases`: the built-in cases."""

from trainer.commands.answers import answer, as_json
from trainer.commands.options import AsJson


def run(as_plain_json=False):
    """Return the text that lists the built-in cases."""
    from scenarios import library

    listed = {name: library.load(name) for name in library.names()}
    if as_plain_json:
        return as_json({name: scenario.content() for name, scenario in listed.items()})
    return "\n\n".join(_described(name, scenario) for name, scenario in listed.items())


def _described(name, scenario):
    task = scenario.task
    return (
        f"{name}: {scenario.title}\n  {scenario.patient}\n"
        f"  Lead to the top of {task.target_level} through {task.interspace} from the {task.side}, "
        f"approach at most {task.largest_approach_deg:g} degrees, "
        f"needles of {', '.join(f'{length:g}' for length in task.needle_lengths_mm)} mm."
    )


def add_to(app):
    @app.command(name="cases")
    def cases(json: AsJson = False):
        """List the built-in cases."""
        answer(run(json))
