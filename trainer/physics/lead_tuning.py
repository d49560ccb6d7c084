"""What an expert may set of a lead and of the tissue round it: the assumed figures, each with its range.

The ranges are those of meshes/tables/lead.csv. What is not set stays as tabulated.
"""

from dataclasses import dataclass, fields

from meshes.tables.loader import UNITS, table
from trainer.physics.lead_properties import LeadProperties

ROWS = {
    "bending_stiffness": "lead.bending_stiffness",
    "torsional_stiffness": "lead.torsional_stiffness",
    "turned_length": "lead.turned_length",
    "bend_angle": "lead.bend_angle",
    "bend_length": "lead.bend_length",
    "drag_torque": "needle.drag_torque",
    "dura_stiffness": "tissue.dura_stiffness",
    "dura_stiffening": "tissue.dura_stiffening",
    "wall_friction": "tissue.wall_friction",
    "dura_friction": "tissue.dura_friction",
    "memory_force": "tissue.memory_force",
    "memory_range": "tissue.memory_range",
}
BEND = ("bend_angle", "bend_length")
# By the stylet in the lead; any other wire keeps its own bend.
NOT_OF = {"curved": (), "out": (*BEND, "bending_stiffness", "torsional_stiffness")}


@dataclass(frozen=True)
class LeadTuning:
    """Settings of an expert; None leaves a figure as tabulated. Units as in LeadProperties.

    Raises
    ------
    ValueError
        If a figure lies outside its range.
    """

    bending_stiffness: float | None = None
    torsional_stiffness: float | None = None
    turned_length: float | None = None
    bend_angle: float | None = None
    bend_length: float | None = None
    drag_torque: float | None = None
    dura_stiffness: float | None = None
    dura_stiffening: float | None = None
    wall_friction: float | None = None
    dura_friction: float | None = None
    memory_force: float | None = None
    memory_range: float | None = None

    def __post_init__(self):
        for name, value in self.settings.items():
            low, high = tuning_range(name)
            if not low <= value <= high:
                unit, factor = tuning_unit(name)
                raise ValueError(
                    f"{name} must lie between {low / factor:g} and {high / factor:g} {unit}, "
                    f"got {value / factor:g}: choose a value inside"
                )

    @property
    def settings(self):
        """{name: value} of what is set."""
        values = {entry.name: getattr(self, entry.name) for entry in fields(self)}
        return {name: value for name, value in values.items() if value is not None}

    def applied(self, properties=None, *, stylet="curved"):
        """Return LeadProperties with these settings, but those that the stylet in the lead does not have.

        Bend and stiffness are those of a lead on its curved stylet: a straight one keeps its shape, and a
        lead without stylet is as soft as it is.
        """
        left_out = NOT_OF.get(stylet, BEND)
        changes = {name: value for name, value in self.settings.items() if name not in left_out}
        return (properties or LeadProperties()).with_changes(**changes)


def tuning_range(name):
    """Return (least, largest) of a setting, in the units inside."""
    figure = table("lead")[ROWS[name]]
    return figure.low, figure.high


def tuning_unit(name):
    """Return the unit in which a setting is written, and its factor to the unit inside."""
    unit = table("lead")[ROWS[name]].unit
    return unit, UNITS[unit]
