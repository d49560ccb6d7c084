"""Other signs of the epidural space: the hanging drop, what comes back through the bore, passing a lead."""

import math
from dataclasses import dataclass

import numpy as np

from meshes.tables.loader import number, table
from trainer.physics.tissue_layers import CORD, EPIDURAL, FLUID, NAMES, POCKET, SCAR, SKIN

POSITIONS = ("prone", "sitting", "lumbar")
NOTHING, CLEAR, BLOODY, STAINED = FLOWS = ("nothing", "clear fluid", "blood", "blood and clear fluid")


@dataclass(frozen=True)
class DropReading:
    """What a drop at the hub does.

    Parameters
    ----------
    drive : float
        Pressure that draws it in; negative pushes it out. [MPa]
    drawn : bool
    words : str
    """

    drive: float
    drawn: bool
    words: str


def epidural_pressure(seconds, *, position="prone", rng=None):
    """Return the pressure in the epidural space some time after the tip has come through. [MPa]

    base - dip exp(-t / t0); in a few patients there is no dip. The base is drawn within its published spread.
    """
    if position not in POSITIONS:
        raise ValueError(f"position must be one of {', '.join(POSITIONS)}, got {position!r}: choose one")
    rng = np.random.default_rng(rng)
    figure = table("syringe")[f"drop.base.{position}"]
    base = figure.value + 0.5 * (figure.high - figure.low) * rng.standard_normal()
    if rng.random() < number("syringe", "drop.absent"):
        return base
    return base - number("syringe", "drop.dip") * math.exp(-seconds / number("syringe", "drop.recovery"))


def hanging_drop(needle, *, seconds, position="prone", rng=None):
    """Return the DropReading of a drop on the open hub.

    Drive = weight of the column of fluid from the hub down to the opening, less the pressure there. A sign
    not to be trusted: the dip lasts seconds, and prone the space is under pressure afterwards.

    Parameters
    ----------
    needle : NeedleState
        With its stylet out.
    seconds : float
        Since the tip came into the space.
    """
    if needle.stylet_inside:
        raise ValueError("stylet must be out before a drop is hung, got it inside: take the stylet out")
    hub = needle.tip - needle.needle.length * needle.base_direction
    weight = number("syringe", "water.weight") * max(float(hub[1] - needle.opening_point[1]), 0.0)
    code = needle.code_at(needle.opening_depth)
    if code not in (EPIDURAL, FLUID, CORD):
        return DropReading(0.0, False, "the drop hangs still")
    drive = weight - epidural_pressure(seconds, position=position, rng=rng)
    if code != EPIDURAL:
        return DropReading(-number("tissue", "fluid.hold"), False, "clear fluid wells up at the hub")
    if drive > 0.0:
        return DropReading(drive, True, "the drop is drawn in")
    return DropReading(drive, False, "the drop bulges: nothing is drawn in")


@dataclass(frozen=True)
class BackFlow:
    """What comes back through the open bore: one of `FLOWS`, at a rate [mm³/s], in words."""

    kind: str
    rate: float
    words: str


def back_flow(needle):
    """Return the BackFlow of a needle; nothing while the stylet is inside.

    Cerebrospinal fluid flows freely from an opening in the sac, and drips from one that is still half
    outside: there the tip lies between dura and arachnoid.
    """
    if needle.stylet_inside:
        return BackFlow(NOTHING, 0.0, "the stylet closes the bore")
    deep = needle.code_at(needle.opening_depth) in (FLUID, CORD)
    rate = number("tissue", "fluid.hold") / number("tissue", "fluid.resistance") if deep else 0.0
    if deep and needle.blood:
        return BackFlow(STAINED, rate, "clear fluid tinged with blood flows from the hub")
    if deep:
        return BackFlow(CLEAR, rate, "clear fluid flows from the hub")
    if needle.blood:
        return BackFlow(BLOODY, 0.02 * rate, "blood drips from the hub")
    return BackFlow(NOTHING, 0.0, "nothing comes back")


def where_it_lies(needle):
    """Return where the opening lies: "outside", "epidural", "subdural", "intrathecal" or "cord".

    Subdural: the tip lies beyond the dura but the opening does not.
    """
    tip, opening = needle.code_at(needle.depth_in_tissue), needle.code_at(needle.opening_depth)
    if CORD in (tip, opening):
        return "cord"
    if opening == FLUID:
        return "intrathecal"
    if tip == FLUID:
        return "subdural"
    return "epidural" if opening == EPIDURAL else "outside"


@dataclass(frozen=True)
class LeadTest:
    """How a lead or catheter passes beyond the opening.

    Parameters
    ----------
    passes : bool
    reach : float
        How far it comes; 50 mm is taken for free. [mm]
    force : float
        [N]
    words : str
    """

    passes: bool
    reach: float
    force: float
    words: str


FREE_WAY = 50.0  # [mm]
_INTO = {
    EPIDURAL: (FREE_WAY, 1.0, "it passes softly and goes on"),
    FLUID: (FREE_WAY, 0.3, "it falls in without any resistance: suspect the sac"),
    CORD: (0.0, 0.3, "it stops, and the patient is hurt"),
    POCKET: (6.0, 2.0, "it goes in a little and curls up"),
    SCAR: (2.0, 4.0, "it stops on something tough"),
}


def try_lead(needle):
    """Return the LeadTest: whether a lead or catheter passes beyond the opening. [N], [mm]

    Raises
    ------
    ValueError
        If the stylet is inside.
    """
    if needle.stylet_inside:
        raise ValueError("stylet must be out before a lead is passed, got it inside: take the stylet out")
    code = needle.code_at(needle.opening_depth)
    reach, share, words = _INTO.get(code, (0.0, 4.0, f"it does not leave the needle: {NAMES[code]}"))
    if code <= SKIN:
        reach, share, words = 0.0, 0.0, "the needle is not in the patient"
    force = share * number("syringe", "catheter.epidural")
    opening = needle.opening
    if code == EPIDURAL and opening.resistance > 20.0 * number("tissue", "epidural.resistance"):
        reach, force, words = 5.0, number("syringe", "catheter.stop"), "it stops soon: scar"
    return LeadTest(reach >= FREE_WAY, reach, force, words)
