"""Lordosis, kyphosis and scoliosis: one rigid pose a level.

Every level has absolute coronal, sagittal and axial angles, applied as about_y(coronal) about_x(sagittal)
about_z(axial), so that the Cobb angles asked for are exact by construction; a bolster flattens the lumbar one
by what its segments take, a wedge fracture bends the column forward by what its body has lost. Positions are
chained through half discs and half bodies along the local axes.
"""

import math
from itertools import pairwise

import numpy as np

from meshes import findings as f
from meshes.frames import Pose, about_x, about_y, about_z
from meshes.levels import COLUMN, LEVELS, SACRUM
from meshes.segments import bolster_flexion, disc_heights, least_disc_height, lordosis_on_bolster
from meshes.tables import loader

UPWARD = COLUMN[::-1]


def wedge(level, findings=()):
    """Return the angle between the endplates of a level, positive where the front is taller. [rad]"""
    return math.atan2(
        anterior_height(level, findings) - loader.number("vertebrae", f"{level}.posterior_height"),
        endplate_chord(level),
    )


def anterior_height(level, findings=()):
    """Return the height of the front of a body, less what a wedge fracture took of it. [mm]"""
    whole = loader.number("vertebrae", f"{level}.anterior_height")
    lost = [fracture.share for fracture in f.of_kind(findings, f.WedgeFracture) if fracture.level == level]
    return whole * (1.0 - sum(lost))


def endplate_chord(level):
    """Return the depth over which anterior and posterior height differ. [mm]"""
    numbers = loader.numbers("vertebrae", level)
    mean = 0.5 * (numbers["upper_endplate_depth"] + numbers["lower_endplate_depth"])
    return numbers.get("endplate_chord", mean)


def middle_height(level, findings=()):
    """Return the height in the middle of the body. [mm]"""
    posterior = loader.number("vertebrae", f"{level}.posterior_height")
    return 0.5 * (anterior_height(level, findings) + posterior)


def sacral_slope(parameters):
    """Return the slope of the upper S1 endplate, which keeps the trunk upright under both curves. [rad]"""
    rule, rest = loader.numbers("alignment", "sacral_slope"), loader.numbers("alignment", "rest")
    return (
        rule["at_rest"]
        + rule["per_lordosis"] * (lordosis_on_bolster(parameters) - rest["lumbar_lordosis"])
        + rule["per_kyphosis"] * (parameters.thoracic_kyphosis - rest["thoracic_kyphosis"])
    )


def disc_wedges(parameters):
    """Return {level: wedge of the disc below it}: shares of what the bodies leave of both curves. [rad]

    A fractured body counts as whole here: its wedge comes on top and bends the column above it forward.
    """
    wedges = {level: wedge(level) for level in LEVELS}
    lordosis = loader.numbers("alignment", "lordosis_share")
    kyphosis = loader.numbers("alignment", "kyphosis_share")
    lumbar = parameters.lumbar_lordosis - sum(wedges[level] for level in lordosis)
    # The kyphosis ends at the lower plate of T12: one body more than discs.
    thoracic = -parameters.thoracic_kyphosis - sum(wedges[level] for level in (*kyphosis, "T12"))
    shares = {level: lumbar * share for level, share in lordosis.items()}
    shares.update({level: thoracic * share for level, share in kyphosis.items()})
    flexion = bolster_flexion(parameters)
    return {level: shares.get(level, 0.0) - flexion[level] for level in LEVELS}


def sagittal_angles(parameters):
    """Return {level: angle of the body about +x} [rad], halfway between its endplates."""
    plate = sacral_slope(parameters)
    angles = {SACRUM: plate + 0.5 * wedge(SACRUM)}
    discs = disc_wedges(parameters)
    for level in UPWARD[1:]:
        lower = plate - discs[level]
        plate = lower - wedge(level, parameters.findings)
        angles[level] = 0.5 * (lower + plate)
    return angles


def coronal_angles(parameters):
    """Return {level: (coronal tilt, axial turn)} [rad].

    Between the end vertebrae the tilt runs as a half cosine wave from +C/2 to -C/2; outside it fades to zero
    at the ends of the column, as compensatory curves do.
    """
    bottom, top = UPWARD.index(parameters.curve_bottom), UPWARD.index(parameters.curve_top)
    if bottom >= top:
        raise ValueError(
            f"curve_top must lie above curve_bottom, got {parameters.curve_top} and "
            f"{parameters.curve_bottom}: name the upper end vertebra as curve_top"
        )
    half, turn = 0.5 * parameters.scoliosis, loader.number("alignment", "scoliosis.axial_turn")
    angles = {}
    for place, level in enumerate(UPWARD):
        share = (place - bottom) / (top - bottom)
        if 0.0 <= share <= 1.0:
            axial = turn * parameters.scoliosis * math.sin(math.pi * share)
            angles[level] = half * math.cos(math.pi * share), axial
        elif share < 0.0:
            angles[level] = half * _fade(bottom - place, bottom), 0.0
        else:
            angles[level] = -half * _fade(place - top, len(UPWARD) - 1 - top), 0.0
    return angles


def _fade(steps, available):
    return 0.5 * (1.0 + math.cos(math.pi * min(steps / max(available, 1), 1.0)))


def level_poses(parameters):
    """Return {level: Pose} from the frame of each bone to the patient's frame.

    Bone frames are at the size of the tables: scale their points by `stature_scale` before applying a pose;
    translations are scaled here. Origin: centre of the upper S1 endplate.

    Raises
    ------
    ValueError
        If the end vertebrae of the scoliosis are in the wrong order.

    Source
    ------
    Shares of lordosis and kyphosis per disc, and the rule for the sacral slope: meshes/tables/alignment.csv.
    """
    sagittal, coronal = sagittal_angles(parameters), coronal_angles(parameters)
    rotations = {
        level: about_y(coronal[level][0]) @ about_x(sagittal[level]) @ about_z(coronal[level][1])
        for level in UPWARD
    }
    centre = -0.5 * middle_height(SACRUM) * rotations[SACRUM][:, 2]
    poses = {SACRUM: Pose(rotations[SACRUM], parameters.stature_scale * centre)}
    heights = posed_disc_heights(parameters, rotations)
    middles = {level: middle_height(level, parameters.findings) for level in UPWARD}
    for below, level in pairwise(UPWARD):
        disc, lower, upper = heights[level], rotations[below][:, 2], rotations[level][:, 2]
        centre = centre + 0.5 * (middles[below] + disc) * lower + 0.5 * (disc + middles[level]) * upper
        poses[level] = Pose(rotations[level], parameters.stature_scale * centre)
    return poses


def posed_disc_heights(parameters, rotations):
    """Return {level: height of the disc below it} at stature 1 with these rotations of the bodies. [mm]

    A flat disc cannot be wedged at will: where the rims of the two bodies would meet, it stands as high as
    they demand. So every Cobb angle stays as asked for, whatever the discs have lost.
    """
    heights, findings = disc_heights(parameters), parameters.findings
    for below, level in pairwise(UPWARD):
        x, y, z = rotations[below].T @ _plate_normal(rotations[level], level, findings, upper=False)
        tilt = 0.5 * wedge(below, findings)
        sagittal = math.atan2(y, z) - tilt
        least = least_disc_height(
            level, coronal=math.atan2(x, z), sagittal=sagittal, width_scale=parameters.width_scale
        )
        heights[level] = max(heights[level], least)
    return heights


def _plate_normal(rotation, level, findings, *, upper):
    tilt = 0.5 * wedge(level, findings) if upper else -0.5 * wedge(level, findings)
    return rotation @ np.array([0.0, math.sin(tilt), math.cos(tilt)])


def endplate_normal(pose, level, *, upper, findings=()):
    """Return the cranial normal (3,) of an endplate in the patient's frame."""
    return _plate_normal(pose.rotation, level, findings, upper=upper)
