"""Lays the needles and leads of a state into the 3D picture."""

import numpy as np

from meshes.instruments import contact_middles
from trainer.physics.needle_track import lengths_along
from trainer.window import tokens as t

NAMES = (("needle", "lead"), ("second needle", "second lead"))
LEAD_INKS = (t.LEAD, t.SECOND_LEAD)


def show_instruments(pane, state, *, held=None):
    """Show what a state has in the patient.

    Parameters
    ----------
    pane : BodyPane
    held : (n, 3) float or None
        Nodes of a needle that is held to the skin but not in it. [mm]
    """
    tip = None
    for index, (needle_name, lead_name) in enumerate(NAMES):
        placement = state.placements[index]
        nodes = needle_course(placement)
        in_hand = index == state.active
        if nodes is None and in_hand:
            nodes = held
        if nodes is not None and in_hand:
            tip = nodes[-1]
        hub = None if nodes is None else nodes[1] - nodes[0]
        pane.scene.show_thread(needle_name, nodes, radius=_radius(placement), colour=t.NEEDLE, hub=hub)
        lead = None if pane.scene.back else placement.lead
        if lead is None:
            pane.scene.show_thread(lead_name, None, radius=0.65, colour=t.LEAD)
            continue
        half = 0.5 * lead.properties.contact_length
        bands = [(middle - half, middle + half) for middle in contact_middles(lead.properties)]
        pane.scene.show_thread(
            lead_name, lead.nodes, radius=lead.properties.radius, colour=LEAD_INKS[index],
            banded="#20262b", bands=bands,
        )  # fmt: skip
        if in_hand:
            tip = lead.nodes[-1]
    pane.point_at(None if pane.scene.back else tip)


def needle_course(placement):
    """Return the nodes (n, 3) of a needle from its hub to its tip, or None while it is outside. [mm]"""
    if placement.depth is None:
        return None
    inside = placement.inside
    hub = inside.puncture - inside.outside * inside.base_direction
    cut = inside.track[lengths_along(inside.track) < inside.depth - 1e-6]
    return np.concatenate([hub[None], cut, inside.tip[None]])


def _radius(placement):
    return placement.needle.outer_radius if placement.needle is not None else 1.05
