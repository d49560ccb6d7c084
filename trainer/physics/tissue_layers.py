"""The tissues that a needle meets, by name and by number, with the figures of their feel and flow."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from meshes.tables.loader import number

OUTSIDE, SKIN, FAT, FASCIA, MUSCLE, INTERSPINOUS, FLAVUM = range(7)
POCKET, EPIDURAL, DURA, FLUID, CORD, SCAR, FRONT, HARD = range(7, 15)
NAMES = (
    "air",
    "skin",
    "fat",
    "fascia",
    "muscle",
    "interspinous ligament",
    "ligamentum flavum",
    "hollow",
    "epidural space",
    "dura",
    "cerebrospinal fluid",
    "spinal cord",
    "scar",
    "front of the canal",
    "bone",
)
KEYS = (
    None,
    "skin",
    "fat",
    "fascia",
    "muscle",
    "interspinous",
    "flavum",
    "pocket",
    "epidural",
    "dura",
    "fluid",
    "cord",
    "scar",
    "front",
    None,
)
# Columns of `feel_figures`; the last one is the force at which a thin sheet bursts, 0 for the others.
STIFFNESS, STIFFENING, CUTTING, GRIT, GRIT_PITCH, FRICTION, PEAK = range(7)
# Columns of `flow_figures`.
HOLD, RESISTANCE, COMPLIANCE = range(3)
_FEEL = ("stiffness", "stiffening", "cutting", "grit", "grit_pitch", "friction")
_FLOW = ("hold", "resistance", "compliance")
_IN_BONE = (60.0, 0.0, 1e6, 0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True)
class Opening:
    """What the opening of a needle looks into, as a syringe feels it.

    Parameters
    ----------
    tissue : str
        One of `NAMES`.
    hold : float
        Pressure above which the tissue takes fluid. [MPa]
    resistance : float
        Of the flow into it. [MPa s/mm³]
    compliance : float
        How much it takes until `hold` has risen by one unit. [mm³/MPa]
    """

    tissue: str
    hold: float
    resistance: float
    compliance: float


def _frozen(array):
    array.flags.writeable = False
    return array


@cache
def feel_figures(stab=True):
    """Return the figures (15, 7) of the force on a needle, a row a tissue, columns as named above.

    Parameters
    ----------
    stab : bool
        Whether the skin has been opened with a blade first.
    """
    figures = np.zeros((len(NAMES), 7))
    figures[:, GRIT_PITCH] = 1.0
    for code, key in enumerate(KEYS):
        if key is not None:
            figures[code, : len(_FEEL)] = [number("tissue", f"{key}.{name}") for name in _FEEL]
    for code, key in ((FASCIA, "fascia"), (DURA, "dura"), (SKIN, "skin")):
        figures[code, PEAK] = number("tissue", f"{key}.peak")
    if stab:
        figures[SKIN, PEAK] = 0.0
        figures[SKIN, CUTTING] = number("tissue", "skin.cutting_after_stab")
        figures[SKIN, FRICTION] = number("tissue", "skin.friction_after_stab")
    figures[HARD] = _IN_BONE
    return _frozen(figures)


@cache
def flow_figures():
    """Return the figures (15, 3) of flow into a tissue: hold, resistance, compliance.

    Bone and air have none: bone takes nothing, air all.
    """
    figures = np.zeros((len(NAMES), 3))
    for code, key in enumerate(KEYS):
        if key is not None:
            figures[code] = [number("tissue", f"{key}.{name}") for name in _FLOW]
    figures[HARD] = [1.0, 1.0, 1.0]
    figures[OUTSIDE] = [0.0, number("tissue", "pocket.resistance") * 0.01, 1e9]
    return _frozen(figures)


def opening_into(code, *, scar=0.0):
    """Return the Opening of a tissue by number.

    Parameters
    ----------
    scar : float
        How much of an epidural space is scar, 0 to 1: its figures pass from those of fat to those of scar
        on a logarithmic scale (assumed).
    """
    figures = flow_figures()[code]
    if code == EPIDURAL and scar > 0.0:
        figures = np.exp((1.0 - scar) * np.log(figures) + scar * np.log(flow_figures()[SCAR]))
    return Opening(NAMES[code], *(float(value) for value in figures))
