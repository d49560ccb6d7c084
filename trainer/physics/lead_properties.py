"""What a lead is: its size, its contacts, how it bends, and how the tissue answers it."""

from dataclasses import dataclass, field, fields, replace

from meshes.tables.loader import number


def _tabulated(key):
    return field(default_factory=lambda: number("lead", key))


@dataclass(frozen=True)
class LeadProperties:
    """A percutaneous cylinder lead with its pre-bent stylet, and the tissue around it.

    The defaults are those of meshes/tables/lead.csv, most of them common practice or assumed.

    Parameters
    ----------
    radius, contact_length, spacing, tip_length, length, turned_length : float
        `spacing` between the edges of two contacts; `tip_length` bare beyond the first contact;
        `turned_length` from the tip to the hand that turns the shaft. [mm]
    contacts : int
    bend_angle, bend_length : float
        Pre-bend of the stylet, spread evenly over the end. [rad], [mm]
    bending_stiffness, torsional_stiffness : float
        [N·mm²]
    axial_stiffness : float
        [N]
    drag_torque, drag_range : float
        The needle's stick-slip hold on the shaft. [N·mm], [rad]
    wall_stiffness, dura_stiffness, dura_stiffening : float
        Per mm of lead. [N/mm²], [N/mm²], [N/mm⁴]
    wall_friction, dura_friction : float
    slip_range, memory_range : float
        [mm]
    memory_force : float
        Sideways yield of the loose fat. [N/mm]

    Raises
    ------
    ValueError
        If a length or stiffness is not positive, a friction is negative, or the contacts do not fit.
    """

    radius: float = field(default_factory=lambda: 0.5 * number("lead", "lead.diameter"))
    contacts: int = field(default_factory=lambda: int(number("lead", "lead.contacts")))
    contact_length: float = _tabulated("lead.contact_length")
    spacing: float = _tabulated("lead.spacing")
    tip_length: float = _tabulated("lead.tip_length")
    length: float = _tabulated("lead.length")
    turned_length: float = _tabulated("lead.turned_length")
    bend_angle: float = _tabulated("lead.bend_angle")
    bend_length: float = _tabulated("lead.bend_length")
    bending_stiffness: float = _tabulated("lead.bending_stiffness")
    torsional_stiffness: float = _tabulated("lead.torsional_stiffness")
    axial_stiffness: float = _tabulated("lead.axial_stiffness")
    drag_torque: float = _tabulated("needle.drag_torque")
    drag_range: float = _tabulated("needle.drag_range")
    wall_stiffness: float = _tabulated("tissue.wall_stiffness")
    dura_stiffness: float = _tabulated("tissue.dura_stiffness")
    dura_stiffening: float = _tabulated("tissue.dura_stiffening")
    wall_friction: float = _tabulated("tissue.wall_friction")
    dura_friction: float = _tabulated("tissue.dura_friction")
    slip_range: float = _tabulated("tissue.slip_range")
    memory_force: float = _tabulated("tissue.memory_force")
    memory_range: float = _tabulated("tissue.memory_range")

    def __post_init__(self):
        for name in (f.name for f in fields(self)):
            value = getattr(self, name)
            if name in MAY_BE_ZERO:
                if not value >= 0.0:
                    raise ValueError(f"{name} must not be negative, got {value}: give 0 or more")
            elif not value > 0.0:
                raise ValueError(f"{name} must be positive, got {value}: give more than 0")
        if self.array_length + self.tip_length > self.length:
            raise ValueError(
                f"contacts must fit on the lead, got {self.array_length + self.tip_length:g} mm of contacts "
                f"on {self.length:g} mm: use fewer, shorter or closer ones"
            )

    @property
    def array_length(self):
        """Length from the first edge of the first contact to the last edge of the last. [mm]"""
        return self.contacts * self.contact_length + (self.contacts - 1) * self.spacing

    def with_changes(self, **changes):
        """Return a copy with some figures replaced."""
        return replace(self, **changes)


MAY_BE_ZERO = (
    "tip_length",
    "spacing",
    "bend_angle",
    "drag_torque",
    "dura_stiffness",
    "dura_stiffening",
    "wall_friction",
    "dura_friction",
    "memory_force",
)
