"""What fluid or air left in the epidural space does: room for the lead, and what it does to impedance."""

import math
from dataclasses import dataclass

from meshes.tables.loader import number
from trainer.physics.syringe import SALINE


@dataclass(frozen=True)
class SpaceOpened:
    """How the dorsal space stands after an injection; all figures assumed, the direction is common practice.

    Parameters
    ----------
    lowering : float
        How far the dura lies deeper at the opening. [mm]
    reach : float
        Along the canal to either side, over which that fades to nothing. [mm]
    friction_factor : float
        Of the lead's first advance within that reach, against none.
    impedance_factor : float
        Of contacts within that reach, against none.
    """

    lowering: float = 0.0
    reach: float = 0.0
    friction_factor: float = 1.0
    impedance_factor: float = 1.0


def space_opened(volume, *, medium=SALINE, seconds=0.0):
    """Return the SpaceOpened by a volume [mm³] that has been injected some time ago.

    Saline: the effect grows as 1 - exp(-V/V0) and fades as exp(-t/t0). It takes over a share w of the
    current's way, so that the impedance falls by the factor 1 - w (1 - s0/s) with conductivities s of
    saline and s0 of what is there without it. Air only shuts off a share of that way.

    Raises
    ------
    ValueError
        If volume or time is negative.
    """
    if not volume >= 0.0 or not seconds >= 0.0:
        raise ValueError(
            f"volume and seconds must not be negative, got {volume:g} and {seconds:g}: "
            "count from the injection"
        )
    left = volume * math.exp(-seconds / number("syringe", "saline.minutes"))
    share = 1.0 - math.exp(-left / number("syringe", "saline.volume"))
    if medium != SALINE:
        shut = number("syringe", "air.wetting") * share
        return SpaceOpened(impedance_factor=1.0 / (1.0 - shut))
    wet = number("syringe", "saline.wetting") * share
    ratio = number("syringe", "conductivity.surroundings") / number("syringe", "conductivity.saline")
    return SpaceOpened(
        lowering=number("syringe", "saline.lowering") * share,
        reach=number("syringe", "saline.reach") * left / number("syringe", "volume"),
        friction_factor=1.0 - number("syringe", "saline.ease") * share,
        impedance_factor=1.0 - wet * (1.0 - ratio),
    )


def lowering_at(opened, distance):
    """Return how far the dura is lowered at a distance along the canal from the opening. [mm]"""
    if opened.reach <= 0.0 or abs(distance) >= opened.reach:
        return 0.0
    return opened.lowering * math.cos(0.5 * math.pi * distance / opened.reach) ** 2
