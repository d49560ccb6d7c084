"""Feedback: build the column, measure it, correct what it is made from, and again.

Blends and processes make a built bone a little larger or smaller than its rows say, and narrow its window. So
after every change of how a bone is drawn the corrections in tables/calibration.csv are found anew: start from
those, call `next_corrections` until nothing moves (three to five times), and write the result back.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from meshes.bones import Bone
from meshes.fields import contour, evaluate_half
from meshes.levels import COLUMN, LEVELS, level_below
from meshes.measure_bones import measure_bones
from meshes.measure_windows import measure_windows
from meshes.parameters import SpineParameters
from meshes.tables import loader
from meshes.vertebra import neighbour_clearance, shape_column, shaping_poses

# The sizes that are measured on the mesh.
SIZES = (
    "upper_endplate_width",
    "upper_endplate_depth",
    "lower_endplate_width",
    "lower_endplate_depth",
    "posterior_height",
    "anterior_height",
    "canal_width",
    "canal_depth",
    "pedicle_width",
    "pedicle_height",
    "transverse_span",
)
# Here laminae overlap like shingles: the clearance is wanted, and the step carries the gap, because two
# heights give nearly the same gap.
SHINGLED = ("T6", "T7", "T8", "T10")
# How far a window's correction may go in all. [mm]
FARTHEST = {"gap_at_midline": 5.0, "gap_at_six": 5.0, "step_at_six": 2.0, "window_half_width": 2.0}
# Share of a difference that one step corrects.
SIZE_SHARE, GAP_SHARE, SHINGLE_SHARE, STEP_SHARE, WIDTH_SHARE = 0.6, 0.8, 0.56, 0.4, 0.35


@dataclass(frozen=True, eq=False)
class Column:
    """Bones without distance grids, posed as they are shaped: enough to measure sizes and windows."""

    parameters: SpineParameters
    bones: dict
    poses: dict


@dataclass(frozen=True)
class WantedWindow:
    """What one window shall measure on the meshes. [mm]

    `gap_at_three`, `gap_at_six`, `gap_at_eight`: between the arches; `clearance` and `step`: 6 mm lateral.
    """

    gap_at_three: float
    gap_at_six: float
    gap_at_eight: float
    clearance: float
    step: float


def built_column(corrections, *, pitch=0.8):
    """Return the `Column` of the tabulated adult under `corrections` {level: {name: mm}}."""
    parameters = SpineParameters()
    shapes = shape_column(parameters, corrections=corrections)

    def build(level):
        clearance = neighbour_clearance(shapes, level)
        half, origin = evaluate_half(shapes[level].rows, pitch=pitch, clearance=clearance)
        corner = origin - [pitch * (half.shape[2] - 1), 0.0, 0.0]
        mesh = contour(np.concatenate([half[:, :, :0:-1], half], axis=2), corner, pitch)
        return Bone(level, *mesh, None, shapes[level])

    with ThreadPoolExecutor(2) as pool:
        bones = dict(zip(COLUMN, pool.map(build, COLUMN)))
    return Column(parameters, bones, shaping_poses())


def next_corrections(corrections, wanted, *, pitch=0.8):
    """Return better corrections {level: {name: mm}} than these, from one column built with them.

    Parameters
    ----------
    corrections : dict
        {level: {name: correction}} of T6..L5. [mm]
    wanted : dict of WantedWindow
        By interspace.
    pitch : float
        Of the fields that are measured. [mm]
    """
    column = built_column(corrections, pitch=pitch)
    sizes, windows = measure_bones(column), measure_windows(column)
    better = {}
    for level in LEVELS:
        asked = loader.numbers("vertebrae", level)
        interspace = f"{level}-{level_below(level)}"
        better[level] = dict(corrections[level])
        _correct_sizes(better[level], asked, sizes[level])
        _correct_window(better[level], level, window=windows[interspace], wanted=wanted[interspace])
    return better


def _correct_sizes(corrections, asked, measured):
    for name in SIZES:
        off = asked[name] - getattr(measured, name)
        corrections[name] = corrections.get(name, 0.0) + SIZE_SHARE * off


def _correct_window(corrections, level, *, window, wanted):
    def move(name, off, *, share, most):
        total = corrections.get(name, 0.0) + float(np.clip(share * off, -most, most))
        corrections[name] = float(np.clip(total, -FARTHEST[name], FARTHEST[name]))

    at_three = wanted.gap_at_three - window.gap[3.0]
    at_six = wanted.gap_at_six - window.gap[6.0]
    if level in SHINGLED:
        move("gap_at_six", wanted.clearance - window.clearance[6.0], share=SHINGLE_SHARE, most=2.2)
        move("gap_at_midline", at_three, share=SHINGLE_SHARE, most=1.7)
        move("step_at_six", at_six, share=0.3, most=0.8)
        return
    move("gap_at_six", at_six, share=GAP_SHARE, most=2.4)
    move("gap_at_midline", at_three, share=GAP_SHARE, most=2.4)
    if level != LEVELS[-1]:
        move("step_at_six", wanted.step - window.step, share=STEP_SHARE, most=0.8)
        move("window_half_width", wanted.gap_at_eight - window.gap[8.0], share=WIDTH_SHARE, most=0.6)
