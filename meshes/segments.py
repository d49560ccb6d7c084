"""Motion segments: how far each bends, over a bolster and with the lordosis, and how high its disc stands.

A segment is named by its upper level.
"""

import math

from meshes import findings as f
from meshes.levels import LEVELS, is_lumbar, level_below, split_interspace
from meshes.tables import loader


def stiff_segments(findings):
    """Return the upper levels of the segments that cannot bend: by a spacer, by screws, or grown together."""
    stiff = {split_interspace(spacer.interspace)[0] for spacer in f.of_kind(findings, f.InterspinousImplant)}
    for screws in f.of_kind(findings, f.PedicleScrews):
        stiff.update(f.levels_between(screws.upper, screws.lower)[:-1])
    if _sacralised(findings):
        stiff.add("L5")
    return stiff


def _sacralised(findings):
    return any(t.kind == "sacralised" for t in f.of_kind(findings, f.TransitionalLevel))


def _first_sacral(parameters):
    """Return the range of motion between S1 and S2: none unless S1 has been set free. [rad]"""
    free = any(t.kind == "lumbarised" for t in f.of_kind(parameters.findings, f.TransitionalLevel))
    return loader.number("alignment", "transitional.first_sacral_range") if free else 0.0


def bolster_flexion(parameters):
    """Return {level: flexion of the segment below it over the bolster}. [rad]

    The lumbar segments share the bolster as they share their range of motion; T12-L1 bends by its own range
    besides. What a stiff segment does not take is lost: a bolster bends with a moment, not to an angle. Below
    a lumbarised S1 one more segment takes its share, and the others less.
    """
    ranges = loader.numbers("alignment", "flexion_range")
    lumbar = sum(value for level, value in ranges.items() if is_lumbar(level)) + _first_sacral(parameters)
    stiff = stiff_segments(parameters.findings)
    return {
        level: 0.0 if level in stiff else parameters.bolster * ranges.get(level, 0.0) / lumbar
        for level in LEVELS
    }


def lordosis_on_bolster(parameters):
    """Return the Cobb angle from L1 to S1 that is left over the bolster, before any fracture. [rad]"""
    taken = sum(bend for level, bend in bolster_flexion(parameters).items() if is_lumbar(level))
    return parameters.lumbar_lordosis - taken


def lordosis_extension(parameters):
    """Return {level: how much further the segment below it is extended than in the column at rest}. [rad]"""
    more = parameters.lumbar_lordosis - loader.number("alignment", "rest.lumbar_lordosis")
    shares = loader.numbers("alignment", "lordosis_share")
    return {level: more * shares.get(level, 0.0) for level in LEVELS}


def disc_heights(parameters):
    """Return {level: height of the disc below it} at stature 1, before its rims are looked at. [mm]

    A segment bends about an axis behind the middle of its disc: in flexion the middle comes down, in
    extension it rises. So a degree moves the two laminae by what their distance from that axis gives.

    Source
    ------
    Pearcy and Bogduk, Spine 1988;13:1033-1041: the axes of lumbar flexion lie in the posterior half of the
    disc. Where in that half each lies is chosen so that a degree opens the gap by 0.6 mm.
    """
    keep = dict.fromkeys(LEVELS, 1.0 - parameters.disc_loss)
    for loss in f.of_kind(parameters.findings, f.DiscHeightLoss):
        keep[split_interspace(loss.interspace)[0]] *= 1.0 - loss.share
    if _sacralised(parameters.findings):
        keep["L5"] *= loader.number("alignment", "transitional.disc_kept")
    axes = loader.numbers("alignment", "axis_behind_middle")
    flexion, extension = bolster_flexion(parameters), lordosis_extension(parameters)
    return {
        level: keep[level] * loader.number("vertebrae", f"{level}.disc_height")
        - axes.get(level, 0.0) * math.tan(flexion[level] - extension[level])
        for level in LEVELS
    }


def least_disc_height(level, *, coronal, sagittal, width_scale):
    """Return how high the disc below a level must stand at its middle so that no rims meet. [mm]

    `coronal` and `sagittal` are the angles between the two facing endplates. [rad]
    The rims are ellipses; between them a film stays free. An endplate of S1 counts like any other.
    """
    above, below = loader.numbers("vertebrae", level), loader.numbers("vertebrae", level_below(level))
    half_width = 0.5 * width_scale * min(above["lower_endplate_width"], below["upper_endplate_width"])
    half_depth = 0.5 * min(above["lower_endplate_depth"], below["upper_endplate_depth"])
    slope = math.hypot(half_width * math.tan(coronal), half_depth * math.tan(sagittal))
    return slope + loader.number("alignment", "rims.free")
