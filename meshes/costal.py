"""Where ribs meet a thoracic vertebra: shallow facets on body or pedicle, and on the transverse process.

T6-T9 share each rib head between two bodies; from T10 down the head sits on one bone, at T11 and T12 on its
pedicle, and there the transverse process has no facet.
"""

import numpy as np

from meshes.arch import transverse_tip
from meshes.rows import hollow_row

# Drawn: how deep and how curved a facet is, and how far it lies from the rim of the body. [mm]
DEPTH, HEAD_RADIUS, TUBERCLE_RADIUS, FROM_RIM = 0.9, 6.5, 7.0, 1.6
# Place of the facets along the depth of the body, and the share of the half width that the wall has there.
BEHIND, WIDE = 0.3, 0.86
# Where the facet of the tubercle lies, from the tip of the transverse process. [mm]
TUBERCLE = np.array([-3.2, -5.8, 0.2])


def costal_rows(numbers, foot):
    """Return the facets for the ribs as cuts; none on a lumbar vertebra."""
    if numbers.lumbar:
        return []
    if numbers.number >= 11:
        side = [foot.x + 0.5 * numbers["pedicle_width"] + 0.6, numbers.posterior_wall + 1.0, foot.z]
        return _pair(side, outward=(1.0, 0.15, 0.0), radius=HEAD_RADIUS)
    rows = _pair(_on_body(numbers, upper=True), outward=(0.86, 0.5, 0.35), radius=HEAD_RADIUS)
    if numbers.number < 10:
        rows += _pair(_on_body(numbers, upper=False), outward=(0.86, 0.5, -0.45), radius=HEAD_RADIUS - 1.5)
    tip = transverse_tip(numbers)
    return rows + _pair(tip + TUBERCLE, outward=(0.25, -1.0, 0.1), radius=TUBERCLE_RADIUS)


def _on_body(numbers, *, upper):
    width = numbers["upper_endplate_width" if upper else "lower_endplate_width"]
    height = 0.5 * numbers.posterior_height - FROM_RIM
    return np.array([0.5 * WIDE * width, BEHIND * numbers.body_depth, height if upper else -height])


def _pair(surface, *, outward, radius):
    flips = (np.ones(3), np.array([-1.0, 1.0, 1.0]))
    return [hollow_row(flip * surface, outward=flip * outward, radius=radius, depth=DEPTH) for flip in flips]
