"""Dural sac and spinal cord as sections over the axis of the canal.

The tables give an adult lying supine; lying prone the cord falls away from the dorsal dura.
"""

from dataclasses import dataclass

import numpy as np

from meshes.canal_axis import smoothed
from meshes.tables.loader import number

TABLE = "neuraxis"
LEVEL_SMOOTHING = 5.0  # [mm] between the figures of neighbouring levels
# The dura keeps this far inside a near wall; the smooth minimum turns the corner over about 1/SHARPNESS. [mm]
WALL_TO_DURA, SHARPNESS = 0.25, 3.0
LEAST_VENTRAL_CSF, LEAST_DORSAL_CSF = 0.4, 0.5  # [mm] in front of and behind the cord
DURA_TO_CORD = 0.3  # [mm] kept where a narrow canal pinches the sac
VANISHED = 0.01  # [mm] half axis that stands for "no cord here"


@dataclass(frozen=True, eq=False)
class Sections:
    """Ellipses of sac and cord at each station, all (n,). [mm]

    Parameters
    ----------
    sac_depth, sac_width : (n,) float
        Half axes of the sac, front to back and side to side; its centre is the axis.
    cord_half_depth, cord_half_width : (n,) float
        Half axes of the cord; 0.01 below the conus.
    cord_offset : (n,) float
        How far the cord's centre lies dorsal of the axis (negative: ventral).
    cord_shift : float
        How far it lies to the left.
    """

    sac_depth: np.ndarray
    sac_width: np.ndarray
    cord_half_depth: np.ndarray
    cord_half_width: np.ndarray
    cord_offset: np.ndarray
    cord_shift: float


def by_level(key, levels):
    """Return the figures (levels,) of one key, such as `sac_depth`. [mm]"""
    return np.array([number(TABLE, f"{level}.{key}") for level in levels])


def along_axis(u, stations, values):
    """Return figures of levels at all stations u (n,), linear between levels, then smoothed."""
    return smoothed(np.interp(u, stations, values), LEVEL_SMOOTHING)


def sac_half_depth(u, stations, levels, *, scale):
    """Return the sac's half axis (n,) front to back. [mm]"""
    return 0.5 * scale * along_axis(u, stations, by_level("sac_depth", levels))


def _with_cord(stations, levels):
    """Return (stations, levels) of L1 and above: the tables give no cord below."""
    first = levels.index("L1")
    return stations[first:], levels[first:]


def cord_half_axis(key, u, stations, levels, *, tip, scale):
    """Return a half axis (n,) of the cord, tapering from L1 to the station `tip` of the conus. [mm]"""
    stations, levels = _with_cord(stations, levels)
    knots = np.concatenate([[tip], stations])
    values = np.concatenate([[0.0], by_level(key, levels)])
    return np.maximum(0.5 * scale * along_axis(u, knots, values), VANISHED)


def dorsal_csf(u, stations, levels, *, scale, prone=True):
    """Return the depth (n,) of the fluid behind the cord, lying prone or supine. [mm]

    Only a share of the published gain is added: the whole would leave less than 1 mm in front of the
    cord in the sacs of the tables.
    """
    stations, levels = _with_cord(stations, levels)
    supine = along_axis(u, stations, by_level("dorsal_csf", levels))
    gain = np.interp(u, stations, by_level("prone_gain", levels)) if prone else 0.0
    return scale * (supine + number(TABLE, "prone_share") * gain)


def _pressed(depth, half_depth, loss):
    """Return the half axis (n,) of a sac that has lost depth, but never to less than the cord needs."""
    least = half_depth + 0.5 * (LEAST_VENTRAL_CSF + LEAST_DORSAL_CSF)
    return np.maximum(depth - 0.5 * loss, np.minimum(depth, least))


def sections(u, stations, levels, *, conus, scale, cord_shift, sac_scale=1.0, loss=0.0):
    """Return Sections along the axis.

    The fluid behind the cord keeps its share of what the sac leaves free.

    Parameters
    ----------
    u, stations : (n,), (levels,) float
        All stations, and those of the bodies, caudal to cranial. [mm]
    conus : float
        Station of the tip of the cord. [mm]
    sac_scale : float
        Of the sac alone: it keeps its share of a wide or narrow canal (assumed).
    loss : (n,) float
        Depth that the sac has lost. [mm]
    """
    usual = sac_half_depth(u, stations, levels, scale=scale * sac_scale)
    width = 0.5 * scale * sac_scale * along_axis(u, stations, by_level("sac_width", levels))
    half_depth = cord_half_axis("cord_depth", u, stations, levels, tip=conus, scale=scale)
    half_width = cord_half_axis("cord_width", u, stations, levels, tip=conus, scale=scale)
    depth = _pressed(usual, half_depth, loss)
    free = (depth - half_depth) / np.maximum(usual - half_depth, LEAST_DORSAL_CSF)
    fluid = np.minimum(free, 1.0) * dorsal_csf(u, stations, levels, scale=scale)
    offset = np.minimum(depth - fluid - half_depth, depth - half_depth - LEAST_DORSAL_CSF)
    offset = np.maximum(offset, half_depth + LEAST_VENTRAL_CSF - depth)
    return Sections(depth, width, half_depth, half_width, offset, cord_shift)


def sac_ellipse(sections, theta):
    """Return the radius (n, m) of the sac where no wall is near. [mm]"""
    across = np.sin(theta) / sections.sac_width[:, None]
    along = np.cos(theta) / sections.sac_depth[:, None]
    return 1.0 / np.sqrt(across**2 + along**2)


def dura_radius(ellipse, wall):
    """Return the radius (n, m) of the dura: the ellipse, giving way to a near wall. [mm]"""
    return -np.logaddexp(-SHARPNESS * ellipse, -SHARPNESS * (wall - WALL_TO_DURA)) / SHARPNESS


def cord_radius(sections, theta, dura):
    """Return the radius (n, m) of the cord seen from the axis; 0 where the axis lies outside it. [mm]"""
    wide, deep = sections.cord_half_width[:, None], sections.cord_half_depth[:, None]
    x, y = sections.cord_shift / wide, sections.cord_offset[:, None] / deep
    s, c = np.sin(theta) / wide, np.cos(theta) / deep
    a, b, k = s * s + c * c, -2.0 * (s * x + c * y), x * x + y * y - 1.0
    root = (-b + np.sqrt(np.maximum(b * b - 4.0 * a * k, 0.0))) / (2.0 * a)
    radius = np.where(k < 0.0, np.maximum(root, 0.0), 0.0)
    return np.minimum(radius, np.maximum(dura - DURA_TO_CORD, 0.0))
