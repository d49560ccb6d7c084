"""How thick skin and fat lie on the fascia from level to level: every interspace as deep as published.

Differences between levels are fitted at the middle body mass index; the size of the body comes on top.
"""

import numpy as np
from scipy.interpolate import PchipInterpolator

from meshes.back_profile import EXTRA
from meshes.tables.loader import number, numbers

REFERENCE = "L2-L3"  # where body mass index sets the depth
MIDDLE_BODY_MASS = 25.0  # [kg/m²]
ROUNDS = 5  # of correcting; the depths are off by less than 0.01 mm after them
# How much thinner or thicker than at the reference a level may be; deep hollows would ask for more. [mm]
THINNER, THICKER = -3.0, 18.0
LEVEL_OUT = 30.0  # [mm] beyond the last level where the thickness stays as it is
# Between these heights the buttocks rise out of the back. [mm at stature 1]
SEAT_TOP, SEAT_FULL = -15.0, -125.0


def buttock_height(z, height, *, scale):
    """Return how far the buttocks stand out beside the cleft at heights z, and its slope. [mm], [1]"""
    span = (SEAT_TOP - SEAT_FULL) * scale
    t = np.clip((SEAT_TOP * scale - z) / span, 0.0, 1.0)
    inside = (t > 0.0) & (t < 1.0)
    return height * t * t * (3.0 - 2.0 * t), np.where(inside, -height * 6.0 * t * (1.0 - t) / span, 0.0)


def expected_depth(parameters, interspace=REFERENCE):
    """Return the midline depth from the skin to the epidural space of a sound interspace. [mm]

    Known from T10-T11 down; above, the fat goes on as it is there.

    Source
    ------
    Ravi et al., J Anaesth Clin Pharmacol 2011;27(1):39-42, and table soft_tissue, depth_beyond_reference.*.
    """
    beyond = number("soft_tissue", f"depth_beyond_reference.{interspace}")
    if parameters.skin_to_epidural is not None:
        return parameters.skin_to_epidural + beyond
    return beyond + _depth_by_body_mass(parameters.body_mass_index)


def _depth_by_body_mass(body_mass_index):
    per = number("soft_tissue", "depth_per_body_mass")
    return number("soft_tissue", "depth_without_mass") + per * body_mass_index


def fit_cover(tissue, parameters, *, centres, least):
    """Fill the thickness of the cover into a tissue: column EXTRA of its profile, and the cover of its scale.

    Parameters
    ----------
    tissue : SoftTissue
        Changed in place.
    parameters : SpineParameters
    centres : dict
        {interspace: (3,)}: the middle of each gap on the sound dorsal wall, tail to head. [mm]
    least : float
        The thinnest cover. [mm]
    """
    known = numbers("soft_tissue", "depth_beyond_reference")
    reference = centres[REFERENCE]
    named = {name: point for name, point in centres.items() if name in known}
    _fit_levels(tissue, parameters, named, reference=reference[2])
    for _ in range(ROUNDS):
        tissue.scale[4] += expected_depth(parameters) - tissue.depth_of(reference)
    tissue.scale[4] = max(tissue.scale[4], least - tissue.profile[:, EXTRA].min())


def _fit_levels(tissue, parameters, centres, *, reference):
    """Fit the differences between levels at the middle body mass; they are zero at z = `reference`."""
    middle = parameters.with_changes(body_mass_index=MIDDLE_BODY_MASS, skin_to_epidural=None)
    wanted = np.array([expected_depth(middle, name) for name in centres])
    places = np.array([point[2] for point in centres.values()])
    z, cover = tissue.heights_of_profile, np.full(len(wanted), tissue.scale[4])
    for _ in range(ROUNDS):
        cover += wanted - [tissue.depth_of(point) for point in centres.values()]
        middle_cover = float(_along(places, cover, np.array([reference]))[0][0])
        cover = np.clip(cover, middle_cover + THINNER, middle_cover + THICKER)
        thickness, slope = _along(places, cover, np.append(z, reference))
        tissue.scale[4] = thickness[-1]
        tissue.profile[:, EXTRA] = thickness[:-1] - thickness[-1]
        tissue.profile[:, EXTRA + 1] = slope[:-1]


def _along(places, cover, z):
    """Return the thickness and its slope at heights z, level beyond the first and the last place."""
    # Level ends: a knot beyond each end at the same thickness makes the slope run out there.
    beyond = np.concatenate([[places[0] - LEVEL_OUT], places, [places[-1] + LEVEL_OUT]])
    curve = PchipInterpolator(beyond, np.concatenate([cover[:1], cover, cover[-1:]]))
    inside = np.clip(z, beyond[0], beyond[-1])
    return curve(inside), np.where(inside == z, curve(inside, 1), 0.0)
