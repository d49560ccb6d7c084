"""What fluid or air left in the epidural space does: room for the lead, and what it does to impedance.

How far saline lowers the dura and loosens the fat is told by `saline.Saline`, which the lead's solver asks
too; here it also fades with time, and dilutes what a contact measures.
"""

import math
from dataclasses import dataclass

from meshes.tables.loader import number
from trainer.physics.saline import Saline
from trainer.physics.syringe import SALINE

MILLILITRE = 1000.0  # [mm³]


@dataclass(frozen=True)
class SpaceOpened:
    """How the dorsal space stands after an injection; all figures assumed, the direction is common practice.

    Parameters
    ----------
    volume : float
        Of saline that is still there. [mm³]
    lowering : float
        How far the dura lies deeper at the opening. [mm]
    hold_factor : float
        Of the fat's hold on the lead there, against none.
    impedance_factor : float
        Of contacts there, against none.
    """

    volume: float = 0.0
    lowering: float = 0.0
    hold_factor: float = 1.0
    impedance_factor: float = 1.0

    def saline_at(self, station):
        """Return the Saline for a lead, injected at a station of the canal. [mm]"""
        return Saline(self.volume / MILLILITRE, station)


def space_opened(volume, *, medium=SALINE, seconds=0.0):
    """Return the SpaceOpened by a volume [mm³] that has been injected some time ago.

    Saline fades as exp(-t/t0). It takes over a share w of the current's way, so that the impedance falls by
    the factor 1 - w (1 - s0/s) with conductivities s of saline and s0 of what is there without it. Air only
    shuts off a share of that way.

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
    lowering, hold = Saline(left / MILLILITRE).at([0.0])
    return SpaceOpened(left, float(lowering[0]), float(hold[0]), 1.0 - wet * (1.0 - ratio))
