"""What happens to a lead that is in place: saline beside it, its needle drawn over it, its stylet drawn.

Each moves the lead by the mechanics, with a drag while it lasts and a rebound after. How hard a needle drags
and how far a lead follows it is assumed: see meshes/tables/lead.csv.
"""

from dataclasses import replace

from meshes.tables.loader import number
from trainer.physics.lead import SHORTEST, advance
from trainer.physics.lead_kinds import let_go, pull_stylet
from trainer.physics.lead_settle import settle
from trainer.physics.saline import more

__all__ = ["bevel_can_cut", "inject_saline", "pull_needle", "pull_stylet", "wetted"]


def inject_saline(state, volume):
    """Return the lead after `volume` ml of saline through its needle.

    Near the mouth the dura gives way and the fat holds less: the lead straightens a little.

    Raises
    ------
    ValueError
        If the volume is negative.
    """
    station = float(state.place[1 if state.place[1, 0] > 0.0 else 2, 0])
    return wetted(state, more(state.setup.saline, volume, station=station))


def wetted(state, saline):
    """Return the lead in a space that holds this `saline.Saline`."""
    return settle(replace(state, setup=replace(state.setup, saline=saline)), reference=state.nodes)


def pull_needle(state, *, held=True):
    """Return the lead after its needle was drawn out over it.

    Held by the hand it follows the needle by a little; free it is dragged along until the tissue holds it.
    Then nothing grips its shaft any more, and what was wound up unwinds. The way through the flavum stays.

    Parameters
    ----------
    state : LeadState
    held : bool
        Whether a hand holds the lead while the needle comes out.
    """
    slip = number("lead", "needle.slip_out")
    if not held:
        slip += _dragged(state, number("lead", "needle.drag_out"))
    return let_go(advance(state, -min(slip, state.fed - SHORTEST)))


def _dragged(state, force):
    """Return how far a lead follows a pull of so many N at its shaft. [mm]"""
    back = 0.0
    while back < number("lead", "needle.follow_most") and state.fed - 1.0 >= SHORTEST:
        state = advance(state, -1.0)
        if state.push < -force:
            return back
        back += 1.0
    return back


def bevel_can_cut(before, after):
    """Tell whether a pull from one state to the next drew the shaft hard over the bevel's edge.

    Rule: withdrawn, and its side force on the mouth over the assumed limit; saying so, not cutting, is the
    trainer's part.
    """
    limit = number("lead", "needle.cut_side_force")
    return after.fed < before.fed and max(before.side_force, after.side_force) > limit
