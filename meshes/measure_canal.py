"""What lies inside the canal as built: sac, cord and fluid by level, epidural space by interspace."""

from dataclasses import dataclass

import numpy as np

STEP = 0.5
# The space is narrowest about the cranial edge of a lamina; looked for this far to both sides. [mm]
NEAR_EDGE = 3.0
# A cord thinner than this is the tip of the conus fading out. [mm]
LEAST_CORD = 0.5


@dataclass(frozen=True)
class LevelCanal:
    """Sections square to the canal at the middle of one body. [mm]

    Parameters
    ----------
    sac_depth, sac_width : float
        Between the dura in front and behind, and from side to side.
    cord_depth, cord_width, dorsal_csf : float or None
        None below the cord. The fluid is told on the midline, lying prone.
    """

    level: str
    sac_depth: float
    sac_width: float
    cord_depth: float | None
    cord_width: float | None
    dorsal_csf: float | None


@dataclass(frozen=True)
class InterspaceCanal:
    """The midline of one interspace. [mm]

    Parameters
    ----------
    skin_to_epidural : float
        Square to the skin, to the middle of the interlaminar gap.
    epidural_depth : float
        From the ventral face of the flavum to the dura, at the middle of the gap.
    least_epidural_depth : float
        The same under the cranial edge of the lower lamina.
    greatest_epidural_depth : float
        The same where it is deepest between the two laminae.
    flavum_thickness : float
    """

    interspace: str
    skin_to_epidural: float
    epidural_depth: float
    least_epidural_depth: float
    greatest_epidural_depth: float
    flavum_thickness: float


def measure_level_canal(canal, level):
    """Return the LevelCanal of one level of the chart; raises ValueError for a level it does not cover."""
    u = canal.station(level)
    front, back, left, right = (
        float(canal.radii(u, angle)[2]) for angle in (np.pi, 0.0, np.pi / 2, -np.pi / 2)
    )
    half_depth, half_width, offset = (
        float(np.interp(u, canal.u, values))
        for values in (canal.cord_half_depth, canal.cord_half_width, canal.cord_offset)
    )
    cord = 2.0 * half_depth > LEAST_CORD
    return LevelCanal(
        level=level,
        sac_depth=front + back,
        sac_width=left + right,
        cord_depth=2.0 * half_depth if cord else None,
        cord_width=2.0 * half_width if cord else None,
        dorsal_csf=back - offset - half_depth if cord else None,
    )


def _dorsal_depth(canal, stations):
    """Return the depth (...) of the epidural space on the midline at stations (...)."""
    _, _, dura, wall = canal.radii(stations, 0.0)
    return wall - dura


def measure_interspace_canal(anatomy, interspace):
    """Return the InterspaceCanal of one interspace of the chart.

    Raises ValueError for an interspace that the chart does not cover.
    """
    canal = anatomy.canal
    mark = canal.interspace(interspace)
    edge = mark.flavum_caudal
    between = _dorsal_depth(canal, np.arange(edge, mark.flavum_cranial, STEP))
    about_edge = _dorsal_depth(canal, np.arange(edge - NEAR_EDGE, edge + NEAR_EDGE, STEP))
    return InterspaceCanal(
        interspace=interspace,
        skin_to_epidural=float(anatomy.tissue.depth_to_epidural(interspace)),
        epidural_depth=float(_dorsal_depth(canal, mark.middle)),
        least_epidural_depth=float(about_edge.min()),
        greatest_epidural_depth=float(between.max()),
        flavum_thickness=float(np.interp(mark.middle, canal.u, canal.flavum_thickness)),
    )


def measure_canal(anatomy):
    """Return ({level: LevelCanal}, {interspace: InterspaceCanal}) of what the chart covers, head to tail."""
    levels = {level: measure_level_canal(anatomy.canal, level) for level in reversed(anatomy.canal.levels)}
    names = reversed(anatomy.canal.interspaces)
    return levels, {name: measure_interspace_canal(anatomy, name) for name in names}
