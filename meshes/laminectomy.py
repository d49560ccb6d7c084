"""Bone that a surgeon has taken away behind the canal, as boxes that are cut from a finished vertebra."""

from meshes.rows import box_row

# A cut on one side alone leaves the spinous process, from here on. [mm]
MIDLINE = 2.4
# How far outside the facets, and how far in front of the roof, a cut may reach. [mm]
TALL, DEEP, WIDE = 60.0, 60.0, 70.0


def laminectomy_rows(cut, *, medial, lateral, roof_front, facet_front, wall, pedicle_bottom, facet_top):
    """Return the rows that a `meshes.findings.Laminectomy` cuts.

    Parameters
    ----------
    cut : Laminectomy
        `reach` 'lamina' takes the roof between the joints with the spinous process; 'facets' also the lower
        articular processes and the pars; 'pedicles' everything behind the body.
    medial, lateral : float
        How far to the side a cut goes that spares the joints, and one that takes them. [mm]
    roof_front, facet_front, wall : float
        y in front of which the roof, the joints and the pedicles do not reach. [mm]
    pedicle_bottom : float
        z below which nothing but joints lies behind the body. [mm]
    facet_top : float
        z above which only the upper articular processes lie beside the roof: they stay. [mm]
    """
    if cut.reach == "pedicles":
        return [_behind(cut.side, WIDE, wall)]
    roof = _behind(cut.side, medial, roof_front)
    if cut.reach == "lamina":
        return [roof]
    below = _behind(cut.side, lateral, wall, top=pedicle_bottom)
    return [roof, _behind(cut.side, lateral, facet_front, top=facet_top), below]


def _behind(side, outer, front, *, top=TALL):
    left = outer if side != "right" else -MIDLINE
    right = -outer if side != "left" else MIDLINE
    return box_row(
        (0.5 * (left + right), front + DEEP, 0.5 * (top - TALL)),
        (0.5 * (left - right), DEEP, 0.5 * (top + TALL)),
        rounding=1.0,
        blend=0.8,
    )
