"""Levels that a person has marked on a picture, judged against the levels that are there.

A count is made from below, from the sacrum up, or from above, from the last rib down. Where a transitional
vertebra, or eleven or thirteen pairs of ribs, makes the two disagree, the words say so.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from meshes.findings import TransitionalLevel, of_kind
from meshes.levels import COLUMN, SACRUM, check_level
from meshes.rib import rib_levels
from meshes.tables.loader import number
from trainer.physics.picture_rays import millimetres_per_pixel, picture_point

USUAL_RIB_PAIRS = 12
SIXTH = "L6"
STARTS = ("below", "above")


@dataclass(frozen=True)
class LevelMark:
    """A name that a person has put on a picture.

    Parameters
    ----------
    level : str
        As named: T6 to S1, or L6 for a first sacral vertebra that is free.
    column, row : float
        On the picture. [pixels]
    """

    level: str
    column: float
    row: float

    def __post_init__(self):
        name = str(self.level).strip().upper()
        object.__setattr__(self, "level", name if name == SIXTH else check_level(name))
        if not (np.isfinite(self.column) and np.isfinite(self.row)):
            raise ValueError(
                f"column and row must be finite, got {self.column!r} and {self.row!r}: "
                "give a place on the picture"
            )


@dataclass(frozen=True)
class FoundLevel:
    """What truly lies under a mark.

    Parameters
    ----------
    named : str
    level : str or None
        None where no body is near.
    distance : float
        From the outline of the projected body at the spine, 0 inside it. [mm]
    shift : int or None
        How many levels too far caudal the name is; negative: too far cranial.
    """

    named: str
    level: str | None
    distance: float
    shift: int | None


@dataclass(frozen=True)
class LevelCount:
    """The verdict on a count.

    Parameters
    ----------
    judgement : str
        "right", "shifted" (all by the same), "mixed", "off the spine" or "incomplete".
    text : str
        The same in a sentence or two.
    marks : tuple of FoundLevel
    ambiguity : tuple of str
        What makes this anatomy hard to count; empty for the usual one.
    """

    judgement: str
    text: str
    marks: tuple
    ambiguity: tuple


def body_outline(anatomy, level, *, carm):
    """Return the convex outline (n, 2) of a projected vertebral body. [pixels]"""
    bone, scale = anatomy.bones[level], anatomy.parameters.stature_scale
    shape, vertices = bone.shape, bone.vertices
    body = vertices[:, 1] < scale * shape.posterior_wall
    # The wings and the lower pieces of the sacrum are no part of its first body.
    body &= np.abs(vertices[:, 0]) < 0.75 * scale * shape.body_depth
    body &= vertices[:, 2] > -0.7 * scale * shape.posterior_height
    places = picture_point(carm, anatomy.poses[level].apply(vertices[body]))
    return places[ConvexHull(places).vertices]


def distance_to_outline(place, outline):
    """Return how far a place (2,) lies outside a convex outline (n, 2), 0 inside."""
    along = np.roll(outline, -1, axis=0) - outline
    away = place - outline
    if np.all(along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0] >= 0.0):
        return 0.0
    share = np.clip(np.sum(away * along, axis=1) / np.sum(along**2, axis=1), 0.0, 1.0)
    return float(np.linalg.norm(away - share[:, None] * along, axis=1).min())


def level_at(anatomy, place, *, carm):
    """Return (level, distance): the vertebra whose body lies at, or nearest to, a place (2,).

    Where outlines overlap it is the body whose middle is nearer. The level is None, beside the distance to
    the nearest body [mm], where that is beyond the limit of the table.
    """
    place = np.asarray(place, float)
    found = []
    for level in COLUMN:
        middle = anatomy.poses[level].translation
        size = millimetres_per_pixel(carm, middle)
        outside = size * distance_to_outline(place, body_outline(anatomy, level, carm=carm))
        found.append((outside, size * np.linalg.norm(picture_point(carm, middle) - place), level))
    distance, _, level = min(found)
    return (level if distance <= number("picture_reading", "mark.limit") else None), distance


def ambiguity(anatomy):
    """Return sentences on what makes the levels of this anatomy hard to count, none for the usual one."""
    parameters, words = anatomy.parameters, []
    for finding in of_kind(parameters.findings, TransitionalLevel):
        if finding.kind == "sacralised":
            words.append("L5 has grown to the sacrum: counted from below, the lowest free body is L4.")
        else:
            words.append(
                "S1 is free like a sixth lumbar body: counted from below, the lowest free body is S1."
            )
    last = rib_levels(parameters.rib_pairs)[-1]
    if parameters.rib_pairs != USUAL_RIB_PAIRS:
        words.append(
            f"There are {parameters.rib_pairs} pairs of ribs: "
            f"counted from above, the last rib belongs to {last}."
        )
    return tuple(words)


def _found(anatomy, mark, *, carm):
    level, distance = level_at(anatomy, (mark.column, mark.row), carm=carm)
    named = SACRUM if mark.level == SIXTH else mark.level
    shift = None if level is None else COLUMN.index(named) - COLUMN.index(level)
    return FoundLevel(mark.level, level, distance, shift)


def _missing_start(anatomy, marks, start):
    """Return what a count must contain and does not, in words, or None."""
    if start is None:
        return None
    truly = {mark.level for mark in marks}
    last = rib_levels(anatomy.parameters.rib_pairs)[-1]
    if start == "below" and not truly & {"S1", "L5"}:
        return "A count from below must begin at the sacrum: mark S1 or the body above it."
    if start == "above" and last not in truly:
        return "A count from above must begin at the last rib: mark the body that carries it."
    return None


def _shifted_text(anatomy, shift, start):
    way = "caudal" if shift > 0 else "cranial"
    text = f"Every level is named {abs(shift)} too far {way}."
    kinds = {t.kind for t in of_kind(anatomy.parameters.findings, TransitionalLevel)}
    pairs = anatomy.parameters.rib_pairs
    if start != "above" and (shift, "sacralised") in {(1, kind) for kind in kinds}:
        text += " The lowest free body was taken for L5; L5 has grown to the sacrum."
    elif start != "above" and shift == -1 and "lumbarised" in kinds:
        text += " The free first sacral body was taken for L5."
    elif start != "below" and shift == USUAL_RIB_PAIRS - pairs != 0:
        text += f" The last rib was taken for the twelfth; there are {pairs} pairs."
    return text


def judge_count(anatomy, marks, *, carm, start=None):
    """Return the LevelCount of marks on one picture.

    Parameters
    ----------
    anatomy : Anatomy
    marks : sequence of LevelMark
    carm : CArm
        The one that the picture was taken with.
    start : str or None
        "below" or "above" for a count that must begin at the sacrum, or at the last rib.

    Raises
    ------
    ValueError
        If there is no mark, or `start` is unknown.
    """
    if start is not None and start not in STARTS:
        raise ValueError(f"start must be one of {', '.join(STARTS)}, got {start!r}: choose one of these")
    found = tuple(_found(anatomy, mark, carm=carm) for mark in marks)
    if not found:
        raise ValueError("marks must name at least one level, got none: mark a level on the picture")
    judgement, text = _verdict(anatomy, found, start)
    return LevelCount(judgement, text, found, ambiguity(anatomy))


def _verdict(anatomy, found, start):
    lost = [mark for mark in found if mark.level is None]
    if lost:
        names = ", ".join(f"{mark.named} by {mark.distance:.0f} mm" for mark in lost)
        return "off the spine", f"Not on a vertebral body: {names}."
    if missing := _missing_start(anatomy, found, start):
        return "incomplete", missing
    shifts = {mark.shift for mark in found}
    if shifts == {0}:
        return "right", "Every level is named as it is."
    if len(shifts) == 1:
        return "shifted", _shifted_text(anatomy, shifts.pop(), start)
    wrong = ", ".join(f"{mark.named} lies on {mark.level}" for mark in found if mark.shift)
    return "mixed", f"{wrong}."
