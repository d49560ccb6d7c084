"""`trainer`, `trainer practise` and `trainer assess`: the window."""

from trainer.commands.options import Case, Settings


def open_window(case=None, mode=None, settings=None):
    """Open the window, at a case where one is named; returns the exit code."""
    from trainer.window.application import check_display, run

    check_display()
    scenario = None
    if case is not None:
        from trainer.commands.options import chosen_case

        scenario = chosen_case(case, settings)
    from trainer.commands.warmup import warm_up

    first = None if scenario is None else lambda window: window.begin(scenario, mode)
    return run(first, warm_up=warm_up)


def add_to(app):
    @app.command(name="practise")
    def practise(case: Case, settings: Settings = None):
        """Practise a case in the window: everything is visible, each act can be taken back."""
        return open_window(case, "practice", settings)

    @app.command(name="assess")
    def assess(case: Case, settings: Settings = None):
        """Be assessed on a case in the window: as in a room, nothing can be taken back."""
        return open_window(case, "assessment", settings)
