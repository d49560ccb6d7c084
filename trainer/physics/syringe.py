"""A syringe on a needle: the thumb drives the plunger, the tissue at the opening takes fluid or does not.

One unknown, the pressure p in the barrel (gauge): C dp/dt = A v - q, v the speed of the plunger, q the flow
into the tissue, C the compliance of what is in the barrel: tiny for saline, volume / (atmosphere + p) for
air (Boyle). With a force-driven thumb the pressure before the loss is set by the thumb and the tissue sets
only the flow: what tells the loss is how far and how suddenly the plunger runs.
"""

import math
from dataclasses import dataclass, replace

from meshes.tables.loader import number

SALINE, AIR = MEDIA = ("saline", "air")
STEP = 0.005  # [s]
LONGEST = 60.0  # [s] in one press


@dataclass(frozen=True)
class Syringe:
    """A loss of resistance syringe and what it has done.

    Parameters
    ----------
    medium : str
        "saline" or "air".
    volume : float or None
        In the barrel, at atmospheric pressure; the table's where not given. [mm³]
    pressure : float
        Above the atmosphere. [MPa]
    travel : float
        Of the plunger into the barrel; it springs back from compressed air. [mm]
    delivered : float
        Into the patient, at the pressure it had. [mm³]
    in_tissue : float
        Of that into the tissue that the opening lies in now. [mm³]
    tissue : str or None
        That tissue.
    flow : float
        Now. [mm³/s]

    Raises
    ------
    ValueError
        If the medium is another one, or the volume none of a hand syringe.
    """

    medium: str = SALINE
    volume: float | None = None
    pressure: float = 0.0
    travel: float = 0.0
    delivered: float = 0.0
    in_tissue: float = 0.0
    tissue: str | None = None
    flow: float = 0.0

    def __post_init__(self):
        if self.medium not in MEDIA:
            raise ValueError(f"medium must be saline or air, got {self.medium!r}: choose one of them")
        if self.volume is None:
            object.__setattr__(self, "volume", number("syringe", "volume"))
        if not 0.0 <= self.volume <= 20000.0:
            raise ValueError(
                f"volume must lie between 0 and 20000 mm³, got {self.volume:g}: 5000 mm³ are 5 mL"
            )

    @property
    def gas_volume(self):
        """Of air in the barrel under its present pressure. [mm³]"""
        atmosphere = number("syringe", "atmosphere")
        return self.volume * atmosphere / (atmosphere + self.pressure)


def plunger_area():
    """Return the area of the plunger. [mm²]"""
    return 0.25 * math.pi * number("syringe", "plunger.diameter") ** 2


def pressure_of_force(force):
    """Return the pressure under a plunger at rest that a thumb pushes on: (F - friction) / A. [MPa]"""
    return max(force - number("syringe", "plunger.friction"), 0.0) / plunger_area()


def press(syringe, force, *, seconds, opening):
    """Return the Syringe after a thumb has pressed it for some time; no force lets the plunger come back.

    Implicit steps of 5 ms, stable at any stiffness; steps of 1 and of 10 ms differ by less than 1 % in
    volume.

    Parameters
    ----------
    syringe : Syringe
    force : float
        Of the thumb. [N]
    seconds : float
    opening : trainer.physics.tissue_layers.Opening
        What the needle's opening looks into.

    Raises
    ------
    ValueError
        If force or time cannot be those of a thumb.
    """
    if not 0.0 <= force <= 60.0:
        raise ValueError(f"force must lie between 0 and 60 N, got {force:g}: 8 to 12 N is usual")
    if not 0.0 < seconds <= LONGEST:
        raise ValueError(f"seconds must lie between 0 and {LONGEST:g}, got {seconds:g}: press shorter")
    return stepped(syringe, force, seconds=seconds, opening=opening, step=STEP)


def stepped(syringe, force, *, seconds, opening, step):
    """Return `press` with steps of a given length [s]."""
    if opening.tissue != syringe.tissue:
        syringe = replace(syringe, tissue=opening.tissue, in_tissue=0.0)
    count = max(round(seconds / step), 1)
    for _ in range(count):
        syringe = _one_step(syringe, force, opening, seconds / count)
    return syringe


def _plunger(syringe, force, area):
    """Return (v0, k): the plunger's speed is v0 - k p. [mm/s], [mm/(s MPa)]"""
    friction, mobility = number("syringe", "plunger.friction"), number("syringe", "plunger.mobility")
    spare = force - area * syringe.pressure
    empty = syringe.volume <= 0.0 and spare > 0.0
    if abs(spare) <= friction or empty:
        return 0.0, 0.0
    return mobility * (force - math.copysign(friction, spare)), mobility * area


def _one_step(syringe, force, opening, dt):
    area, air = plunger_area(), syringe.medium == AIR
    atmosphere = number("syringe", "atmosphere")
    capacity = (
        syringe.gas_volume / (atmosphere + syringe.pressure)
        if air
        else number("syringe", "saline.compliance")
    )
    capacity = max(capacity, 1e-3)
    hold = opening.hold + syringe.in_tissue / opening.compliance
    v0, k = _plunger(syringe, force, area)
    pressure = max(_balance(syringe.pressure, capacity, area, v0, k, 0.0, 0.0, dt), 0.0)
    flowing = pressure > hold
    if flowing:
        pressure = max(
            _balance(syringe.pressure, capacity, area, v0, k, 1.0 / opening.resistance, hold, dt), 0.0
        )
    flow = max(pressure - hold, 0.0) / opening.resistance if flowing else 0.0
    # What leaves the barrel counts at the atmosphere's pressure; an empty one gives no more.
    expansion = (atmosphere + pressure) / atmosphere if air else 1.0
    left = min(flow * dt * expansion, syringe.volume)
    flow = left / expansion / dt
    travel = max(syringe.travel + (v0 - k * pressure) * dt, 0.0)
    return replace(
        syringe, pressure=pressure, travel=travel, volume=syringe.volume - left, flow=flow,
        delivered=syringe.delivered + flow * dt, in_tissue=syringe.in_tissue + flow * dt,
    )  # fmt: skip


def _balance(pressure, capacity, area, v0, k, conductance, hold, dt):
    """Return the pressure at the end of a step of length dt by the backward Euler rule."""
    above = capacity / dt * pressure + area * v0 + conductance * hold
    return above / (capacity / dt + area * k + conductance)


def refilled(syringe, volume=None):
    """Return a fresh syringe of the same medium; what has been delivered before is counted on."""
    return Syringe(syringe.medium, volume, delivered=syringe.delivered)
