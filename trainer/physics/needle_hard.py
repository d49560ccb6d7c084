"""Tissue that is no bone of the column but stops a needle like bone: ossified flavum, calcified ligaments."""

import math
from dataclasses import dataclass

import numpy as np

from meshes.findings import LigamentCalcification, of_kind
from meshes.ligaments import calcified_ligaments

PARALLEL = 1e-12


@dataclass(frozen=True, eq=False)
class HardTissue:
    """Where a needle's axis first meets hard tissue.

    Parameters
    ----------
    distance : float
        Along the axis, from the skin. [mm]
    level : str
        The vertebra above it.
    words : str
        "the ossified ligamentum flavum at T10-T11".
    """

    distance: float
    level: str
    words: str


def first_crossing(entry, direction, vertices, faces):
    """Return how far along a line its first crossing of a mesh lies, nan where there is none. [mm]

    Source
    ------
    Moeller and Trumbore, J Graphics Tools 1997;2(1):21, all triangles at once.
    """
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    across = np.cross(direction, c - a)
    det = np.einsum("ij,ij->i", b - a, across)
    inverse = 1.0 / np.where(np.abs(det) < PARALLEL, np.nan, det)
    off = entry - a
    u = np.einsum("ij,ij->i", off, across) * inverse
    turned = np.cross(off, b - a)
    v = turned @ direction * inverse
    t = np.einsum("ij,ij->i", c - a, turned) * inverse
    hit = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t >= 0.0)
    return float(t[hit].min()) if hit.any() else math.nan


def _flavum(canal, entry, direction, to_flavum):
    if not canal.ossified or math.isnan(to_flavum):
        return None
    station, theta, radius = canal.to_chart(entry + to_flavum * direction)
    name = canal.interspace_of(station)
    if name is None or canal.flavum_state(name, float(radius * np.sin(theta))) != "bone":
        return None
    return HardTissue(to_flavum, name.split("-")[0], f"the ossified ligamentum flavum at {name}")


def _ligaments(anatomy, entry, direction):
    if not of_kind(anatomy.parameters.findings, LigamentCalcification):
        return
    for (name, which), mesh in calcified_ligaments(anatomy).items():
        distance = first_crossing(entry, direction, *mesh)
        if not math.isnan(distance):
            yield HardTissue(distance, name.split("-")[0], f"the calcified {which} ligament at {name}")


def first_hard_tissue(anatomy, entry, direction, *, to_flavum, others):
    """Return the HardTissue that an axis meets first, or None.

    The axis alone is asked, not the shaft's own thickness.

    Parameters
    ----------
    entry, direction : (3,) float
        [mm]
    to_flavum : float
        Along the axis, nan where no flavum is crossed. [mm]
    others : sequence of float
        What else ends the way, nan where there is none: only what lies nearer counts. [mm]
    """
    found = [_flavum(anatomy.canal, entry, direction, to_flavum), *_ligaments(anatomy, entry, direction)]
    nearest = np.nanmin(others)
    found = [tissue for tissue in found if tissue is not None and tissue.distance < nearest]
    return min(found, key=lambda tissue: tissue.distance, default=None)
