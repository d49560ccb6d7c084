"""What findings do to the canal: thicker flava, a narrower canal, more fat, a bed of scar, patches that grip.

Everything here is read off the list of findings and the stations of the chart; the shares and the figures of
scar are assumed (tables/neuraxis.csv).
"""

from dataclasses import dataclass

import numpy as np

from meshes import findings as kinds
from meshes.canal_march import fade, wrapped
from meshes.canal_wall import SECTOR_FADE, on_side
from meshes.tables.loader import number
from meshes.units import radians

EDGE = 3.0  # [mm] over which a change along the canal fades in
# How far round the sac bone and flavum are missing after a laminectomy, by its reach.
CUT_SECTOR = {"lamina": radians(50.0), "facets": radians(74.0), "pedicles": radians(100.0)}
BEYOND = 18.0  # [mm] how far a bed reaches from a level that has no charted neighbour
BEHIND, FRONT = radians(66.0), radians(118.0)  # the sectors that a stenosis narrows


@dataclass(frozen=True)
class Bed:
    """The place of a removed lamina: stations, how far round, on which side, and how dense the scar is."""

    first: float
    last: float
    reach: str
    side: str
    scar: float


@dataclass(frozen=True, eq=False)
class CanalChanges:
    """All changes along a chart of n stations.

    Parameters
    ----------
    flavum : dict
        {interspace: extra thickness toward the canal}. [mm]
    narrowing, fat : (n,) float
        Loss of depth of the canal by stenosis, and more dorsal fat. [mm]
    friction, memory : (n,) float
        Multipliers of healthy fat.
    beds : tuple of Bed
    missing_flava : dict
        {interspace: side on which the flavum has been removed}.
    """

    flavum: dict
    narrowing: np.ndarray
    fat: np.ndarray
    friction: np.ndarray
    memory: np.ndarray
    beds: tuple
    missing_flava: dict


def plateau(u, first, last, *, edge=EDGE):
    """Return 1 (n,) between the stations first and last, 0 farther than `edge` outside, smooth between."""
    t = np.clip(np.minimum(u - first, last - u) / edge + 1.0, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def canal_changes(findings, u, *, marks, spans):
    """Return the CanalChanges of findings at stations u (n,).

    A finding at an interspace or a level that the chart does not cover changes nothing.

    Parameters
    ----------
    marks : {name: Interspace}
    spans : sequence of (level, lower station, upper station)
    """
    spans = {level: (low, high) for level, low, high in spans}
    thick = [f for f in kinds.of_kind(findings, kinds.FlavumThickening) if f.interspace in marks]
    friction, memory = _grip(findings, u, marks=marks, spans=spans)
    return CanalChanges(
        flavum={finding.interspace: finding.millimetres for finding in thick},
        narrowing=stenosis(findings, u, marks=marks),
        fat=lipomatosis(findings, u, spans=spans),
        friction=friction,
        memory=memory,
        beds=laminectomy_beds(findings, marks=marks, spans=spans),
        missing_flava=missing_flava(findings, marks),
    )


def stenosis(findings, u, *, marks):
    """Return how much less deep the canal is at stations u (n,), opposite the discs. [mm]"""
    half, loss = 0.5 * number("neuraxis", "stenosis.length") - EDGE, np.zeros(len(u))
    for finding in kinds.of_kind(findings, kinds.CentralStenosis):
        if finding.interspace in marks:
            mark = marks[finding.interspace]
            middle = 0.5 * (mark.disc_caudal + mark.disc_cranial)
            loss += finding.millimetres * plateau(u, middle - half, middle + half)
    return loss


def lipomatosis(findings, u, *, spans):
    """Return how much more dorsal fat there is at stations u (n,), over the bodies named. [mm]"""
    fat = np.zeros(len(u))
    for finding in kinds.of_kind(findings, kinds.EpiduralLipomatosis):
        covered = [
            spans[level] for level in kinds.levels_between(finding.upper, finding.lower) if level in spans
        ]
        if covered:
            low, high = covered[-1][0], covered[0][1]
            fat = np.maximum(fat, finding.millimetres * plateau(u, low, high, edge=2.0 * EDGE))
    return fat


def ossified_flava(findings, marks):
    """Return the names of the interspaces among `marks` whose flavum is bone."""
    thick = kinds.of_kind(findings, kinds.FlavumThickening)
    return tuple(finding.interspace for finding in thick if finding.ossified and finding.interspace in marks)


def missing_flava(findings, marks):
    """Return {interspace: "both", "left" or "right"} of the flava that went with a lamina."""
    missing = {}
    for cut in kinds.of_kind(findings, kinds.Laminectomy):
        for name in marks:
            if cut.level in name.split("-"):
                before = missing.get(name, cut.side)
                missing[name] = cut.side if before == cut.side else "both"
    return missing


def laminectomy_beds(findings, *, marks, spans):
    """Return a tuple of Bed: each from the lamina below to the one above the removed lamina."""
    beds = []
    for cut in kinds.of_kind(findings, kinds.Laminectomy):
        if cut.level in spans:
            middle = 0.5 * sum(spans[cut.level])
            first, last = middle - BEYOND, middle + BEYOND
            for mark in marks.values():
                first = mark.flavum_caudal if mark.upper == cut.level else first
                last = mark.lamina_caudal_edge if mark.lower == cut.level else last
            beds.append(Bed(first, last, cut.reach, cut.side, cut.scar))
    return tuple(beds)


def _grip(findings, u, *, marks, spans):
    """Return the multipliers (n,) of friction and of the fat's hold."""
    friction, memory = np.ones(len(u)), np.ones(len(u))
    for finding in kinds.of_kind(findings, kinds.Adhesion):
        if finding.level in spans:
            middle = 0.5 * sum(spans[finding.level])
            over = plateau(u, middle - 0.5 * finding.length, middle + 0.5 * finding.length, edge=1.0)
            friction *= 1.0 + (finding.friction - 1.0) * over
            memory *= 1.0 + (finding.hold - 1.0) * over
    for bed in laminectomy_beds(findings, marks=marks, spans=spans):
        over = bed.scar * plateau(u, bed.first, bed.last, edge=1.0)
        friction *= 1.0 + (number("neuraxis", "scar.friction") - 1.0) * over
        memory *= 1.0 + (number("neuraxis", "scar.hold") - 1.0) * over
    return friction, memory


def narrowed(roof, theta, loss):
    """Return roof (n, m) after a stenosis of depth `loss` (n,): more from behind than from in front. [mm]"""
    angle = np.abs(wrapped(theta))
    behind = number("neuraxis", "stenosis.behind")
    share = behind * fade(angle, BEHIND, SECTOR_FADE)
    share += (1.0 - behind) * (1.0 - fade(angle, FRONT, SECTOR_FADE))
    return roof - loss[:, None] * share


def with_bed(roof, bone, sac, *, u, theta, bed):
    """Return roof (n, m) where a lamina has been removed: fat and scar behind the sac, no flavum.

    Without scar the fat is as deep as it is under the two laminae that remain, in a straight line between
    them; dense scar lies on the dura and draws it back.

    Parameters
    ----------
    roof, bone, sac : (n, m) float
        Radii of the wall, of bone alone, and of the sac at ease. [mm]
    """
    rows = np.clip(np.searchsorted(u, [bed.first, bed.last]), 0, len(u) - 1)
    share = np.clip((u - u[rows[0]]) / max(u[rows[1]] - u[rows[0]], 1.0), 0.0, 1.0)[:, None]
    ends = np.maximum(np.minimum(roof, bone)[rows] - sac[rows], 0.0)
    fat = (1.0 - share) * ends[0] + share * ends[1]
    soft = sac + (1.0 - bed.scar) * fat + bed.scar * number("neuraxis", "scar.dent")
    weight = fade(np.abs(wrapped(theta)), CUT_SECTOR[bed.reach], SECTOR_FADE)
    weight = weight * on_side(bed.side, theta)
    weight = weight * plateau(u, bed.first + EDGE, bed.last - EDGE)[:, None]
    return roof * (1.0 - weight) + np.minimum(soft, bone) * weight
