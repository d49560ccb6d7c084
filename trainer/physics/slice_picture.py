"""Planning slices: a plane through an anatomy, like magnetic resonance or computed tomography.

Both appearances come from the same fields as contact, clearance and X-ray. A likeness for planning, not a
simulation of a scanner: no coil pattern but a fall with depth, no distortion, no motion.
"""

from dataclasses import dataclass

import numpy as np

from meshes.distance import check_points
from meshes.tables.loader import number
from trainer.physics.slice_fields import tissue_fields
from trainer.physics.slice_kernels import develop, paint
from trainer.physics.slice_plane import SlicePlane
from trainer.physics.slice_tissue_at import classify
from trainer.physics.slice_tissues import TISSUES, alike, brightness
from trainer.physics.two_threads import in_parts

# More parts than threads: some rows hold more tissue than others.
PARTS = 8
METAL_BLOOM = 2.0  # [mm] by which metal voids the signal round it
T2_GAMMA, T2_BRIGHTEST = 0.85, 1.0
GREYS = 1024


@dataclass(frozen=True, eq=False)
class Slice:
    """One computed slice, before noise and window.

    Parameters
    ----------
    plane : SlicePlane
    appearance : str
        "t2" or "ct".
    signal : (rows, columns) float32
        Relative to fluid, or in Hounsfield units.
    tissue : (rows, columns) int8
        Index into `slice_tissues.TISSUES` at each pixel's middle.
    """

    plane: SlicePlane
    appearance: str
    signal: np.ndarray
    tissue: np.ndarray

    def tissue_at(self, column, row):
        """Return the name of the tissue at a place of the picture. [pixels]"""
        return TISSUES[self.tissue[int(row), int(column)]]


def _facts(appearance):
    """Return what the kernels ask: cortex scale, bloom of metal, 1 for a coil."""
    if appearance == "t2":
        return np.array([number("slices", "t2.cortex_scale"), METAL_BLOOM, 1.0])
    return np.array([1.0, 0.0, 0.0])


def _in_rows(function, rows, *arguments):
    """Run a kernel over the rows of a picture in two threads."""
    in_parts(lambda first, last: function(*arguments, first, last), rows, parts=PARTS)


def cut(anatomy, plane, *, appearance="t2", thickness=None):
    """Return the Slice of an anatomy in a plane.

    Parameters
    ----------
    anatomy : Anatomy
    plane : SlicePlane
    appearance : str
        "t2" or "ct".
    thickness : float or None
        Of the slice [mm]; that of the table where not given.

    Raises
    ------
    ValueError
        If the appearance is unknown or the thickness is negative.
    """
    level, grain = brightness(appearance)
    thickness = number("slices", f"{appearance}.thickness") if thickness is None else thickness
    if not 0.0 <= thickness <= 10.0:
        raise ValueError(f"thickness must lie between 0 and 10, got {thickness!r}: try 3 mm")
    right, down = plane.pitch * plane.right, plane.pitch * plane.down
    corner = plane.patient_point([0.5, 0.5])
    signal = np.empty((plane.rows, plane.columns), np.float32)
    tissue = np.empty(signal.shape, np.int8)
    arguments = (
        tissue_fields(anatomy),
        corner,
        right,
        down,
        thickness * plane.normal,
        level,
        grain,
        alike(appearance),
        _facts(appearance),
    )
    for finer in (False, True):
        _in_rows(paint, plane.rows, *arguments, finer, tissue, signal)
    return Slice(plane, appearance, signal, tissue)


def tissue_of(anatomy, points):
    """Return the tissue (...) int8 at points (..., 3) [mm]: an index into `slice_tissues.TISSUES`."""
    points = check_points(points)
    flat = points.reshape(-1, 3)
    tissue, other = np.empty(len(flat), np.int8), np.empty(len(flat), np.int8)
    share, depth = np.empty(len(flat), np.float32), np.empty(len(flat), np.float32)
    classify(tissue_fields(anatomy), flat, len(flat), 1.0, 0.0, tissue, other, share, depth)
    return tissue.reshape(points.shape[:-1])


def window(appearance, *, centre=None, width=None):
    """Return (low, high) of the grey scale; the table's for CT, air to fluid for T2 where not given.

    Raises ValueError if `width` is not positive.
    """
    if appearance == "ct":
        centre = number("slices", "ct.window_centre") if centre is None else centre
        width = number("slices", "ct.window_width") if width is None else width
    centre = 0.5 * T2_BRIGHTEST if centre is None else centre
    width = T2_BRIGHTEST if width is None else width
    if not width > 0.0:
        raise ValueError(f"width must be positive, got {width!r}: widen the window")
    return centre - 0.5 * width, centre + 0.5 * width


def slice_picture(section, *, rng, centre=None, width=None):
    """Return the grey picture (rows, columns) uint8 of a Slice, with the noise of its kind, unmarked.

    Parameters
    ----------
    section : Slice
    rng : int or numpy.random.Generator
        The same seed gives the same picture to the last bit.
    centre, width : float or None
        The window: in Hounsfield units for CT, relative to fluid for T2.
    """
    low, high = window(section.appearance, centre=centre, width=width)
    noise = np.random.default_rng(rng).standard_normal(section.signal.shape, dtype=np.float32)
    magnetic = section.appearance == "t2"
    # Smoothing over the neighbours leaves three eighths of the noise.
    spread = number("slices", f"{section.appearance}.noise") / 0.375
    out = np.empty(section.signal.shape, np.uint8)
    scale = np.linspace(0.0, 1.0, GREYS) ** (T2_GAMMA if magnetic else 1.0)
    grey = (255.0 * scale + 0.5).astype(np.uint8)
    rise = (GREYS - 1) / (high - low)
    _in_rows(develop, section.plane.rows, section.signal, noise, spread, low, rise, magnetic, grey, out)
    return out
