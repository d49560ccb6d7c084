"""Which way of drawing an X-ray is the faster one on this machine: measured, not guessed."""

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trainer.physics.xray_graphics import BlendingRasteriser, NoGraphicsError
from trainer.physics.xray_raster import path_attenuation

LARGEST_DIFFERENCE = 1e-3  # rms
REPEATS = 3


@dataclass(frozen=True)
class Choice:
    """The rasteriser to use, and why.

    Parameters
    ----------
    rasterise : callable
        `rasterise(surfaces, carm)`, for `PictureChain`.
    processor_seconds, graphics_seconds : float
        Of one new pose; the second is infinite where the card cannot be used. [s]
    difference : float
        Root mean square between both pictures; not a number where there is only one.
    card : str
        What OpenGL calls the card, or why there is none.
    """

    rasterise: Callable
    processor_seconds: float
    graphics_seconds: float
    difference: float
    card: str


def _quickest(rasterise, surfaces, carm, repeats):
    """Return the picture of a pose and the shortest time of one. [s]"""
    times = []
    for k in range(repeats + 1):
        start = time.perf_counter()
        picture = rasterise(surfaces, carm.with_changes(orbit=carm.orbit + 0.01 * k))
        times.append(time.perf_counter() - start)
        if k == 0:
            first = picture
    # The first call sends the surfaces to the card.
    return first, min(times[1:])


def choose_rasteriser(surfaces, carm, *, repeats=REPEATS, graphics=None):
    """Return the Choice for surfaces seen from about one pose, after drawing both ways.

    The card is taken only if it is faster and its picture is the same within 1e-3 rms.

    Parameters
    ----------
    graphics : callable or None
        A BlendingRasteriser; a new one if None.
    """
    slow, processor = _quickest(path_attenuation, surfaces, carm, repeats)
    graphics = BlendingRasteriser() if graphics is None else graphics
    try:
        fast, seconds = _quickest(graphics, surfaces, carm, repeats)
    except NoGraphicsError as error:
        return Choice(path_attenuation, processor, float("inf"), float("nan"), str(error))
    difference = float(np.sqrt(np.mean((fast - slow) ** 2)))
    better = seconds < processor and difference <= LARGEST_DIFFERENCE
    return Choice(graphics if better else path_attenuation, processor, seconds, difference, graphics.card)
