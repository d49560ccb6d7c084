"""What the generator does: tube voltage and charge that follow the patient's thickness by themselves."""

from dataclasses import dataclass

import numpy as np

from meshes.tables.loader import number
from trainer.physics.xray_materials import attenuation

PURPOSES = ("single", "live")
STEP = 1.0  # [kV]


@dataclass(frozen=True)
class Technique:
    """How one frame is exposed.

    Parameters
    ----------
    kilovolts : float
        Peak voltage of the tube. [kV]
    charge : float
        [mAs]
    reference_kerma : float
        Air kerma of the frame free in air at the entrance reference point, without backscatter. [mGy]
    detector_kerma : float
        What reaches the detector at the middle grey. [mGy]
    quanta : float
        Detected quanta at the middle grey. [1/mm2]
    limited : bool
        Whether the generator met its limit and the picture is noisier than it should be.
    """

    kilovolts: float
    charge: float
    reference_kerma: float
    detector_kerma: float
    quanta: float
    limited: bool


def reference_distance(carm):
    """Return how far the entrance reference point lies from the source. [mm]

    Source
    ------
    IEC 60601-2-43: on the middle ray, 15 cm from the isocentre toward the source.
    """
    return carm.source_to_isocentre - number("dose", "reference_point.before_isocentre")


def check_purpose(purpose):
    """Return what a frame is for, single or live; raises ValueError if it is neither."""
    if purpose not in PURPOSES:
        raise ValueError(f"purpose must be one of {', '.join(PURPOSES)}, got {purpose!r}: choose one")
    return purpose


def tube_output(kilovolts, *, distance, filtration=None):
    """Return the air kerma for each mAs, free in air. [mGy/mAs]

    A power of the voltage, inverse square of the distance, a loss for each half millimetre of aluminium.
    Good to a third between 60 and 120 kV: units differ by that much.

    Parameters
    ----------
    kilovolts : (...) float
        Peak voltage. [kV]
    distance : float
        From the focus. [mm]
    filtration : float or None
        Total, in aluminium; that of the table if None. [mm]

    Source
    ------
    Table dose, keys output.*.
    """
    if not distance > 0.0:
        raise ValueError(f"distance must be positive, got {distance!r}: give millimetres from the focus")
    total = number("dose", "filtration") if filtration is None else filtration
    steps = (total - number("dose", "output.filtration")) / number("dose", "output.filter_step")
    passed = (1.0 - number("dose", "output.filter_loss")) ** steps
    at_table = number("dose", "output.factor") * np.asarray(kilovolts, float) ** number(
        "dose", "output.power"
    )
    return at_table * passed * (number("dose", "output.distance") / distance) ** 2


def _voltage(middle):
    """Return the voltage for a path of so much attenuation: thicker patients get a harder beam. [kV]"""
    thickness = middle / attenuation("soft_tissue")
    rise = number("dose", "voltage.rise") * (thickness - number("dose", "voltage.thickness"))
    low, high = number("dose", "voltage.least"), number("dose", "voltage.largest")
    return float(np.clip(np.round((number("dose", "voltage.start") + rise) / STEP) * STEP, low, high))


def needed_kerma(middle, *, carm, purpose, scatter_ratio=0.0):
    """Return (at the detector, at the entrance reference point), the kerma that a frame should have. [mGy]"""
    at_detector = number("dose", f"detector_kerma.{purpose}")
    # A smaller field is enlarged on the screen; its noise would be too.
    at_detector *= number("xray", "carm.field_full") / carm.image_size
    grid = number("dose", "grid.primary") * (1.0 + scatter_ratio)
    in_air = at_detector / grid * np.exp(middle) * number("dose", "soft_beam")
    return at_detector, in_air * (carm.source_to_detector / reference_distance(carm)) ** 2


def automatic_technique(middle, *, carm, purpose="single", scatter_ratio=0.0):
    """Return the Technique that gives the detector its kerma through a path of attenuation `middle`.

    The voltage rises with the thickness; where the charge would be beyond the tube's limit the voltage rises
    further, and at its own limit the picture gets noisier.

    Parameters
    ----------
    middle : float
        Attenuation of the middle grey.
    purpose : str
        "single" for one good picture, "live" for one of many frames.
    scatter_ratio : float
        Scattered to primary radiation behind the grid.

    Raises
    ------
    ValueError
        If `purpose` is neither.
    """
    check_purpose(purpose)
    wanted, reference = needed_kerma(middle, carm=carm, purpose=purpose, scatter_ratio=scatter_ratio)
    largest, distance = number("dose", f"charge.{purpose}"), reference_distance(carm)
    kilovolts = _voltage(middle)
    while (
        kilovolts < number("dose", "voltage.largest")
        and largest * tube_output(kilovolts, distance=distance) < reference
    ):
        kilovolts += STEP
    output = float(tube_output(kilovolts, distance=distance))
    charge = min(reference / output, largest)
    share = charge * output / reference
    quanta = wanted * share * number("dose", "quanta") * number("dose", "detection")
    return Technique(kilovolts, charge, charge * output, wanted * share, quanta, share < 1.0 - 1e-9)
