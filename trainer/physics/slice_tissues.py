"""Tissues of a slice and how bright each is: T2-like by the spin-echo equation, CT-like in Hounsfield."""

from functools import cache

import numpy as np

from meshes.tables.loader import number, table

TISSUES = (
    "air",
    "skin",
    "fat",
    "muscle",
    "ligament",
    "flavum",
    "interspinous",
    "cortex",
    "marrow",
    "nucleus",
    "annulus",
    "epidural_fat",
    "fluid",
    "cord",
    "root",
    "dura",
    "blood",
    "lung",
    "organ",
    "kidney",
    "metal",
    "cement",
)
(
    AIR,
    SKIN,
    FAT,
    MUSCLE,
    LIGAMENT,
    FLAVUM,
    INTERSPINOUS,
    CORTEX,
    MARROW,
    NUCLEUS,
    ANNULUS,
    EPIDURAL_FAT,
    FLUID,
    CORD,
    ROOT,
    DURA,
    BLOOD,
    LUNG,
    ORGAN,
    KIDNEY,
    METAL,
    CEMENT,
) = range(len(TISSUES))
APPEARANCES = ("t2", "ct")
# A smaller step between two tissues is not worth a finer look. [relative to fluid; Hounsfield units]
LEAST_STEP = {"t2": 0.03, "ct": 25.0}
# No protons, or none that can be seen.
SILENT = ("air", "metal", "cement")
# Hounsfield numbers that follow from attenuations of the table of the X-ray.
ATTENUATING = {"fat": "adipose", "muscle": "soft_tissue", "cortex": "cortical_bone", "marrow": "spongiosa"}
# How much the tissue varies from place to place, as a share of its own signal, and in Hounsfield units.
TEXTURE_T2 = {"fat": 0.10, "muscle": 0.45, "interspinous": 0.55, "marrow": 0.13, "organ": 0.55, "cord": 0.05}
TEXTURE_T2 |= {"flavum": 0.25, "epidural_fat": 0.12, "fluid": 0.05, "kidney": 0.2, "nucleus": 0.08}
TEXTURE_CT = {"fat": 14.0, "muscle": 22.0, "interspinous": 45.0, "marrow": 75.0, "organ": 30.0, "lung": 30.0}


def spin_echo(proton, t1, t2):
    """Return the signal of a spin echo, proton (1 - exp(-TR/T1)) exp(-TE/T2), with the table's TR and TE."""
    repetition, echo = number("slices", "t2.repetition"), number("slices", "t2.echo")
    return proton * (1.0 - np.exp(-repetition / t1)) * np.exp(-echo / t2)


def hounsfield(material):
    """Return 1000 (mu / mu of water - 1) of a material of the attenuation table."""
    water = number("attenuation", "water.attenuation")
    return 1000.0 * (number("attenuation", f"{material}.attenuation") / water - 1.0)


def _t2(tissue):
    if tissue in SILENT:
        return 0.0
    signal = spin_echo(*(number("slices", f"{tissue}.{key}") for key in ("proton", "t1", "t2")))
    return signal / spin_echo(*(number("slices", f"fluid.{key}") for key in ("proton", "t1", "t2")))


def _ct(tissue):
    if tissue == "air":
        return -1000.0
    if tissue in ATTENUATING:
        return hounsfield(ATTENUATING[tissue])
    return table("slices")[f"{tissue}.hounsfield"].value


@cache
def brightness(appearance):
    """Return (level, texture) (tissues,) float32 of an appearance: relative to fluid, or Hounsfield units.

    Raises
    ------
    ValueError
        If `appearance` is neither "t2" nor "ct".
    """
    if appearance not in APPEARANCES:
        raise ValueError(
            f"appearance must be one of {', '.join(APPEARANCES)}, got {appearance!r}: choose one of these"
        )
    if appearance == "t2":
        level = np.array([_t2(tissue) for tissue in TISSUES])
        texture = level * [TEXTURE_T2.get(tissue, 0.0) for tissue in TISSUES]
    else:
        level = np.array([_ct(tissue) for tissue in TISSUES])
        texture = np.array([TEXTURE_CT.get(tissue, 0.0) for tissue in TISSUES])
    return level.astype(np.float32), texture.astype(np.float32)


@cache
def alike(appearance):
    """Return which tissues (tissues, tissues) bool cannot be told apart at their border."""
    level, _ = brightness(appearance)
    return np.abs(level[:, None] - level[None]) < LEAST_STEP[appearance]
