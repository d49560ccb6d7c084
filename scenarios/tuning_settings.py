"""The `[tuning]` table of a case: what an expert sets of the lead and of the tissue round it, in edge units.

Ranges and units are those of meshes/tables/lead.csv; what is left out stays as tabulated there.
"""

from pydantic import field_validator

from meshes.tables.loader import UNITS, table
from scenarios.refusals import Settings, inside

GROUPS = ("lead", "needle", "tissue")  # of the table's rows


def setting_name(key):
    """Return the name inside of a key of the `tuning` table: `bend_angle_deg` -> `bend_angle`."""
    return key.removesuffix("_deg").removesuffix("_mm")


def figure_of(key):
    """Return the row of meshes/tables/lead.csv that holds the range of a key."""
    rows, name = table("lead"), setting_name(key)
    return next(rows[f"{group}.{name}"] for group in GROUPS if f"{group}.{name}" in rows)


class TuningSettings(Settings):
    """Assumed figures of the lead; meaning as in trainer.physics.lead_properties, None: as tabulated.

    Stiffnesses in N·mm², torque in N·mm, `dura_stiffness` in N/mm², `dura_stiffening` in N/mm⁴,
    `memory_force` in N/mm.
    """

    bending_stiffness: float | None = None
    torsional_stiffness: float | None = None
    turned_length_mm: float | None = None
    bend_angle_deg: float | None = None
    bend_length_mm: float | None = None
    drag_torque: float | None = None
    dura_stiffness: float | None = None
    dura_stiffening: float | None = None
    wall_friction: float | None = None
    dura_friction: float | None = None
    memory_force: float | None = None
    memory_range_mm: float | None = None

    @field_validator("*")
    @classmethod
    def _within_the_range(cls, value, info):
        if value is None:
            return value
        figure = figure_of(info.field_name)
        # The range as the table writes it: in its own unit.
        low, high = (round(bound / UNITS[figure.unit], 12) for bound in (figure.low, figure.high))
        return inside(value, low, high)

    def inside(self):
        """Return {name: value} of what is set, in the units inside."""
        given = self.model_dump(exclude_none=True)
        return {setting_name(key): value * UNITS[figure_of(key).unit] for key, value in given.items()}
