"""What the needle in hand feels like and where it stands, in words and shares. No Qt here."""

import numpy as np

from trainer.attempt.needle_acts import full
from trainer.window.state_words import NEEDLE_NAMES, millimetres, sided

THUMB = {
    "": "",
    "firm": "will not move",
    "bounces": "bounces back",
    "gives": "gives a little",
    "lost": "gives way",
}
NEAR_SPACE = 3.0  # [mm] from the epidural space at which the strip warns (assumed)
NEAR_MIDLINE = 3.0  # [mm] (common practice)


def resistance_of(state):
    """Return the resistance at the hand, 0 to 1."""
    inside = state.placement.inside
    return 0.0 if inside is None else float(inside.gauge)


def syringe_of(state):
    """Return (how full, what the plunger does) after the last press."""
    placement = state.placement
    if placement.syringe is None:
        return 1.0, ""
    return placement.syringe.volume / full(placement.syringe.medium), THUMB[placement.felt]


def needle_readings(state):
    """Return {name: text or (text, verdict)} of the needle phase, for practice."""
    hidden = dict.fromkeys(NEEDLE_NAMES, "–")
    inside = state.placement.inside
    if inside is None:
        return hidden
    anatomy, tip = state.anatomy, inside.tip
    below = float(anatomy.tissue.skin(tip[0], tip[2]) - tip[1])
    station, _, _ = (float(np.squeeze(value)) for value in anatomy.canal.to_chart(tip))
    centre, _, left, _ = anatomy.canal.frame_at(station)
    offset = float((tip - centre) @ left)
    clearance = float(anatomy.obstacles.nearest(tip)) - inside.needle.outer_radius
    return {
        "Along needle": millimetres(inside.depth),
        "Below skin": millimetres(below),
        "From midline": (sided(offset), "met" if abs(offset) <= NEAR_MIDLINE else None),
        "Nearest bone": millimetres(max(clearance, 0.0)),
        "Tip in": inside.tissue,
        "Epidural space": _ahead(state.placement.to_epidural, inside.depth, warn=NEAR_SPACE),
        "Dura": _dura(inside),
    }


def _ahead(place, depth, *, warn):
    if place is None:
        return "not on the way"
    left = place - depth
    if left <= 0.0:
        return ("entered", "met")
    words = f"in {millimetres(left)}"
    return (words, "near") if left <= warn else words


def _dura(inside):
    if inside.dura == "punctured":
        return ("open", "missed")
    return ("tented", "near") if inside.dura == "tented" else "whole"
