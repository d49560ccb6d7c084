"""One plausible adult at random: sex, size, proportions, posture and what is uncommon but healthy.

Every figure stands in tables/variation.csv. A quantity with a mean and a spread is drawn from the normal
distribution cut off at two standard deviations, so that everyone lies within the published ranges.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from meshes.findings import TransitionalLevel
from meshes.levels import INTERSPACES
from meshes.parameters import LIMITS, RIB_PAIRS, SpineParameters
from meshes.tables.loader import number, numbers, table
from meshes.units import degrees, radians

CUT_OFF = 2.0  # standard deviations
# End vertebrae of a thoracic, a thoracolumbar and a lumbar curve.
CURVES = (("T6", "T12"), ("T8", "L2"), ("T11", "L4"))
# One uniform number each, in this order: a new name goes to the end, so that old seeds keep their people.
DRAWN = (
    "sex",
    "stature",
    "length_at_stature",
    "width_scale",
    "canal_scale",
    "lumbar_lordosis",
    "thoracic_kyphosis",
    "body_mass_index",
    "scoliosis",
    "scoliosis_side",
    "curve",
    "window_scale",
    "spinous_overlap",
    "flavum_scale",
    "facet_hypertrophy",
    "disc_loss",
    "asymmetry",
    "cord_off_midline",
    "cord_shift",
    "rib_pairs",
    "transition",
    *(f"gap.{name}" for name in INTERSPACES),
)


@dataclass(frozen=True)
class Adult:
    """An adult as drawn.

    Parameters
    ----------
    sex : str
        "woman" or "man".
    stature : float
        Standing height. [mm]
    parameters : SpineParameters
        Rounded: angles to 0.1 degree, lengths to 0.01 mm, scales and shares to 0.001.
    """

    sex: str
    stature: float
    parameters: SpineParameters


def draw_adult(*, rng):
    """Return a plausible Adult without disease; the same seed gives the same adult to the last bit.

    Women and men differ in stature, in the width of their bones and in lordosis. Widths and heights are
    correlated through the length of the spine, which both follow; kyphosis is correlated with lordosis. Gaps
    of the flavum, rib pairs and transitional levels come as often as they were counted. The mean figures of
    the tables are those of the default SpineParameters.

    Limits of validity: adults between 1.48 and 1.90 m without deformity (scoliosis below 30 degrees), healthy
    but for the wear of age.

    Parameters
    ----------
    rng : int, numpy.random.Generator or what else numpy.random.default_rng takes

    Returns
    -------
    Adult

    Source
    ------
    tables/variation.csv, row by row.
    """
    uniform = dict(zip(DRAWN, np.random.default_rng(rng).random(len(DRAWN)).tolist()))
    sex = "woman" if uniform["sex"] < number("variation", "share_of_women") else "man"
    stature = _spread("stature", uniform, sex)
    pairs = _rib_pairs(uniform["rib_pairs"])
    parameters = SpineParameters(
        **_size(stature, uniform, sex),
        **_posture(uniform, sex),
        **_wear(uniform),
        cord_shift=_cord_shift(uniform["cord_off_midline"], uniform["cord_shift"]),
        rib_pairs=pairs,
        flavum_gaps=_gaps(uniform),
        findings=_transition(uniform["transition"], pairs),
    )
    return Adult(sex, round(stature), parameters)


def deviate(uniform):
    """Return the deviate of the normal distribution cut off at `CUT_OFF` that belongs to a number in 0..1."""
    normal = NormalDist()
    low, high = normal.cdf(-CUT_OFF), normal.cdf(CUT_OFF)
    return normal.inv_cdf(low + uniform * (high - low))


def _figure(name, sex=None):
    rows = table("variation")
    return rows.get(f"{sex}.{name}") or rows[name]


def _spread(name, uniform, sex=None, digits=3):
    figure = _figure(name, sex)
    spread = (figure.high - figure.low) / 2.0
    return round(figure.value + spread * deviate(uniform[name]), digits)


def _size(stature, uniform, sex):
    relative = stature / number("variation", "tabulated_stature") - 1.0
    own = _spread("length_at_stature", uniform)
    length = 1.0 + number("variation", "length_with_stature") * relative + own
    low, high = LIMITS["stature_scale"]
    return {
        "stature_scale": round(min(max(length, low), high), 3),
        "width_scale": _spread("width_scale", uniform, sex),
        "canal_scale": _spread("canal_scale", uniform, sex),
        "body_mass_index": _body_mass_index(uniform["body_mass_index"]),
    }


def _body_mass_index(uniform):
    figure = _figure("body_mass_index")
    spread = math.log(figure.high / figure.low) / 2.0
    return round(figure.value * math.exp(spread * deviate(uniform)), 1)


def _rounded(angle):
    return radians(round(degrees(angle), 1))


def _posture(uniform, sex):
    lordosis, kyphosis = _figure("lumbar_lordosis", sex), _figure("thoracic_kyphosis")
    share = number("variation", "kyphosis_with_lordosis")
    first, second = deviate(uniform["lumbar_lordosis"]), deviate(uniform["thoracic_kyphosis"])
    both = share * first + math.sqrt(1.0 - share**2) * second
    both = min(max(both, -CUT_OFF), CUT_OFF)
    top, bottom = CURVES[int(uniform["curve"] * len(CURVES))]
    return {
        "lumbar_lordosis": _rounded(lordosis.value + (lordosis.high - lordosis.low) / 2.0 * first),
        "thoracic_kyphosis": _rounded(kyphosis.value + (kyphosis.high - kyphosis.low) / 2.0 * both),
        "scoliosis": _scoliosis(uniform["scoliosis"], uniform["scoliosis_side"]),
        "curve_top": top,
        "curve_bottom": bottom,
    }


def _scoliosis(amount, side):
    """Return an angle whose amount falls off exponentially, as the published shares do. [rad]"""
    mean = -number("variation", "scoliosis.counted_from") / math.log(number("variation", "scoliosis.share"))
    reached = -math.expm1(-number("variation", "scoliosis.largest") / mean)
    return _rounded(math.copysign(-mean * math.log1p(-amount * reached), side - 0.5))


def _wear(uniform):
    signed = ("window_scale", "spinous_overlap", "flavum_scale", "asymmetry")
    amounts = ("facet_hypertrophy", "disc_loss")
    values = {name: _spread(name, uniform) for name in signed}
    return {**values, **{name: abs(_spread(name, uniform)) for name in amounts}}


def _cord_shift(off, place):
    """Return a small shift of either sign, or, as often as published, one beyond what counts as centred."""
    centred, largest = (number("variation", f"cord_shift.{name}") for name in ("centred", "largest"))
    signed = 2.0 * place - 1.0
    if off >= number("variation", "cord_shift.share"):
        return round(signed * centred, 2)
    return round(math.copysign(centred + abs(signed) * (largest - centred), signed), 2)


def _rib_pairs(uniform):
    fewer, more = (number("variation", f"rib_pairs.{pairs}") for pairs in (RIB_PAIRS[0], RIB_PAIRS[-1]))
    return RIB_PAIRS[0] if uniform < fewer else RIB_PAIRS[-1] if uniform >= 1.0 - more else RIB_PAIRS[1]


def _gaps(uniform):
    shares = numbers("variation", "flavum_gap")
    return tuple(name for name in INTERSPACES if uniform[f"gap.{name}"] < shares[name])


def _transition(uniform, pairs):
    """Return the finding of a transitional level: more often with another count of ribs, as published."""
    shares = numbers("variation", "transitional")
    both = shares["sacralised"] + shares["lumbarised"]
    other = sum(numbers("variation", "rib_pairs").values())
    here = shares["with_other_ribs"]
    if pairs == RIB_PAIRS[1]:
        here = (both - other * here) / (1.0 - other)
    if uniform >= here:
        return ()
    return (
        TransitionalLevel("sacralised" if uniform < here * shares["sacralised"] / both else "lumbarised"),
    )
