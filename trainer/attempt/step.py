"""One step of an attempt: the table says which event may follow where, the acts what it changes."""

from dataclasses import replace

from meshes.anatomy import build_anatomy
from trainer.attempt import lead_acts, needle_acts, picture_acts, plan_acts
from trainer.attempt.events import checked
from trainer.attempt.refusals import one_of
from trainer.attempt.state import MODES, PRACTICE, AttemptState
from trainer.attempt.table import following

ACTS = {**plan_acts.ACTS, **picture_acts.ACTS, **needle_acts.ACTS, **lead_acts.ACTS}


def begin(scenario, *, seed=None, mode=PRACTICE, anatomy=None, progress=None):
    """Return the first state of an attempt.

    Parameters
    ----------
    seed : int, optional
        The scenario's own where none is given.
    mode : str
        "practice" or "assessment".
    anatomy : Anatomy, optional
        The one that belongs to the scenario, if it is built already.
    progress : callable, optional
        `progress(done, total, words)` while bones are built.

    Raises
    ------
    ValueError
        If the mode is neither.
    """
    one_of("mode", mode, MODES)
    built = (
        anatomy if anatomy is not None else build_anatomy(scenario.anatomy.parameters(), progress=progress)
    )
    seed = scenario.seed if seed is None else seed
    return AttemptState(scenario=scenario, seed=seed, anatomy=built, mode=mode)


def step(state, event):
    """Return the state after an event; pure.

    Raises
    ------
    ValueError
        If the event is not allowed in this phase, or what it asks for cannot be done; nothing has changed.
    """
    after = following(state.phase, event)
    changed = lead_acts.carried_on(state, ACTS[type(event)](state, checked(event)))
    # A touched cord ends the attempt, whatever the table says.
    if any(found.ends_attempt for found in changed.complications[len(state.complications) :]):
        after = "debrief"
    return replace(changed, phase=after, event_count=state.event_count + 1)
