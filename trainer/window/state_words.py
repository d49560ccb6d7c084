"""What the strip and the column say about a state, in the words of the trade. No Qt here."""

import numpy as np

from meshes.units import degrees
from trainer.physics.readings import read_lead

SPACE = "\u00a0"
NEEDLE_NAMES = (
    "Along needle",
    "Below skin",
    "From midline",
    "Nearest bone",
    "Tip in",
    "Epidural space",
    "Dura",
)
NEEDLE_WIDEST = (
    "152.0 mm",
    "88.8 mm",
    "28.8 mm L",
    "28.8 mm",
    "interspinous ligament",
    "in 88.8 mm",
    "in 88.8 mm",
)
LEAD_NAMES = (
    "Tip at",
    "From midline",
    "Lies",
    "Hub ahead of tip",
    "Out of needle",
    "Lowest contact",
    "Turns so far",
)
LEAD_WIDEST = ("T10, upper third", "8.8 mm L", "ventral", "188°", "188 mm", "T10, upper third", "88")
# What a real room tells.
ROOM_NAMES = ("Plan", "Needle", "Shaft outside", "Lead fed", "Clear fluid", "Pictures")
ROOM_WIDEST = ("T12–L1, left, to T10", "152 mm", "152 mm", "188 mm", "seen", "188")
PICTURE_NAMES = ("Swing", "Tilt", "Centre", "Pictures", "Live", "At the skin")
PICTURE_WIDEST = ("-188°", "-88°", "T12–L1", "188", "188 s", "88.8 mGy")


def millimetres(value, *, digits=1):
    """Return "12.3 mm" with a space that does not break."""
    return f"{value:.{digits}f}{SPACE}mm"


def sided(offset):
    """Return how far from the midline and on which side, "0.6 mm L"; positive is the patient's left."""
    side = "" if abs(offset) < 0.05 else f"{SPACE}{'L' if offset > 0 else 'R'}"
    return f"{abs(offset):.1f}{SPACE}mm{side}"


def level_words(name):
    """Return "T12–L1" with an en dash and no break."""
    return name.replace("-", "–")


def hand_words(state, tool):
    """Return which of the two is in hand, "Second needle", with the side where it is known."""
    which = ("First", "Second")[state.active]
    side = f", {state.aim.side}" if state.aim is not None else ""
    return f"{which} {tool}{side}"


def picture_readings(state):
    """Return {name: text} of the picture phase."""
    pose, room = state.room.pose, state.room
    return {
        "Swing": f"{degrees(pose.orbit):.0f}°" if pose else "–",
        "Tilt": f"{degrees(pose.tilt):.0f}°" if pose else "–",
        "Centre": level_words(pose.centre) if pose else "–",
        "Pictures": str(room.images),
        "Live": f"{room.seconds:.0f}{SPACE}s",
        "At the skin": f"{room.kerma:.1f}{SPACE}mGy",
    }


def room_readings(state):
    """Return {name: text} of what an assessment tells: what a real room shows, and what was planned."""
    plan, placement = state.plan, state.placement
    inside, lead = placement.inside, placement.lead
    fluid = any(one.inside is not None and one.inside.dura == "punctured" for one in state.placements)
    bare = inside is not None and not inside.stylet_inside
    return {
        "Plan": f"{level_words(plan.interspace)}, {plan.side}, to {plan.target_level}",
        "Needle": millimetres(plan.needle_length, digits=0),
        "Shaft outside": "–" if inside is None else millimetres(inside.outside, digits=0),
        "Lead fed": "–" if lead is None else millimetres(lead.fed, digits=0),
        "Clear fluid": "seen" if fluid and bare else "none",
        "Pictures": str(state.room.images),
    }


def lead_readings(state):
    """Return {name: text or (text, verdict)} of the lead phase, for practice."""
    lead = state.lead
    if lead is None:
        return dict.fromkeys(LEAD_NAMES, "–")
    reading = read_lead(lead, state.anatomy)
    tip, lowest = reading.tip, reading.contacts[-1] if reading.contacts else None
    dorsal = tip.region == "dorsal"
    return {
        "Tip at": tip_words(reading),
        "From midline": (sided(tip.axis_offset), "met" if abs(tip.axis_offset) <= 2.0 else "near"),
        "Lies": (tip.region, "met" if dorsal else "missed"),
        "Hub ahead of tip": f"{degrees(lag_of(lead)):.0f}°",
        "Out of needle": millimetres(lead.fed, digits=0),
        "Lowest contact": lowest.level if lowest is not None else "in the needle",
    }


def tip_words(reading):
    """Return the level of the tip in words."""
    return reading.tip_level


def lag_of(lead):
    """Return how far the hub is ahead of the tip, -pi to pi. [rad]"""
    return float((lead.hub - lead.spin + np.pi) % (2.0 * np.pi) - np.pi)


def stretches_of(events, kind):
    """Return how many runs of one kind of event there are."""
    same = [isinstance(event, kind) for event in events]
    return sum(now and not before for now, before in zip(same, [False, *same[:-1]], strict=True))
