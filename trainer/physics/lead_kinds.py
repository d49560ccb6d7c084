"""The leads and stylets that lie on the table, as rows of data: generic ones, no product.

Body and wire bend side by side, so their stiffnesses add. A lead without its stylet is straight and soft.
"""

from dataclasses import dataclass, replace

from meshes.tables.loader import number, table
from trainer.physics.lead import LeadProperties
from trainer.physics.lead_settle import settle
from trainer.physics.lead_tuning import LeadTuning

OUT = "out"
UNTUNED = LeadTuning()
# Of a stiffness by the next while a stylet goes in or out: in one go the lead would snap.
STAGES = 4


def _names(prefix):
    return tuple(dict.fromkeys(key.split(".")[1] for key in table("lead") if key.startswith(f"{prefix}.")))


LEADS = tuple(int(name) for name in _names("kind"))  # by number of contacts
STYLETS = tuple(name for name in _names("stylet") if name != "drag")


@dataclass(frozen=True)
class Stylet:
    """A wire in the lead. [rad], [mm], [N·mm²]"""

    name: str
    bend_angle: float
    bend_length: float
    bending_stiffness: float


def stylet_named(name):
    """Return the Stylet of a name, or raise ValueError naming those on the table."""
    if name not in STYLETS:
        raise ValueError(
            f"stylet must be one of {', '.join(STYLETS)}, got {name!r}: choose one that lies on the table"
        )
    figures = ("bend_angle", "bend_length", "bending_stiffness")
    return Stylet(name, *(number("lead", f"stylet.{name}.{figure}") for figure in figures))


def lead_kind(contacts=8, *, stylet="curved", base=None, tuning=UNTUNED):
    """Return LeadProperties of the lead with so many contacts.

    Parameters
    ----------
    contacts : int
        One of `LEADS`.
    stylet : str
        One of `STYLETS`, or 'out'.
    base : LeadProperties, optional
        Carries everything else.
    tuning : LeadTuning
        What an expert has set.

    Raises
    ------
    ValueError
        If such a lead or stylet does not lie on the table.
    """
    if contacts not in LEADS:
        raise ValueError(
            f"contacts must be one of {', '.join(map(str, LEADS))}, got {contacts!r}: choose one of these"
        )
    sizes = {name: number("lead", f"kind.{contacts}.{name}") for name in ("contact_length", "spacing")}
    return with_stylet(
        (base or LeadProperties()).with_changes(contacts=int(contacts), **sizes), stylet, tuning=tuning
    )


def with_stylet(properties, stylet, *, tuning=UNTUNED):
    """Return LeadProperties with a stylet of `STYLETS` in the lead, or none where it is 'out'."""
    return tuning.applied(_with_wire(properties, stylet), stylet=stylet)


def _with_wire(properties, stylet):
    body, twist = number("lead", "body.bending_stiffness"), number("lead", "body.torsional_stiffness")
    if stylet == OUT:
        return properties.with_changes(bend_angle=0.0, bending_stiffness=body, torsional_stiffness=twist)
    wire = stylet_named(stylet)
    total = body + wire.bending_stiffness
    return properties.with_changes(
        bend_angle=wire.bend_angle,
        bend_length=wire.bend_length,
        bending_stiffness=total,
        torsional_stiffness=twist / body * total,
    )


def change_stylet(state, stylet, *, tuning=UNTUNED):
    """Return the lead after its stylet was drawn and another (or 'out': none) was pushed in.

    The lead is held at the needle. The wire drags at the lead's end while it is drawn, and lets it spring
    back; a new bend comes to point where the old one did.
    """
    soft = in_stages(state, with_stylet(state.properties, OUT), pull=number("lead", "stylet.drag"))
    if stylet == OUT:
        return let_go(soft)
    return in_stages(soft, with_stylet(state.properties, stylet, tuning=tuning), pull=0.0)


def pull_stylet(state):
    """Return the lead after its stylet was drawn for good: soft, and no hand on its hub any more."""
    return change_stylet(state, OUT)


def let_go(state):
    """Return the lead after the hand has let go of its hub: what was wound up unwinds."""
    return settle(replace(state, hub=state.spin, drag_slip=0.0), reference=state.nodes)


def in_stages(state, properties, *, pull):
    """Return the lead after it took on other properties bit by bit, dragged back at its tip by `pull` [N]."""
    tip_load, start = state.tip_load, state.properties
    changed = ("bend_angle", "bend_length", "bending_stiffness", "torsional_stiffness")
    for stage in range(1, STAGES + 1):
        share = stage / STAGES
        mixed = {
            name: (1.0 - share) * getattr(start, name) + share * getattr(properties, name) for name in changed
        }
        edge = state.nodes[-1] - state.nodes[-2]
        back = -pull * edge / (edge @ edge) ** 0.5
        state = _settled(state, start.with_changes(**mixed), tip_load + back)
    return _settled(state, properties, tip_load) if pull else state


def _settled(state, properties, tip_load):
    setup = replace(state.setup, properties=properties)
    return settle(replace(state, setup=setup, tip_load=tip_load), reference=state.nodes)
