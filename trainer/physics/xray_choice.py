"""Which way of drawing an X-ray is the faster one on this machine: measured, not guessed."""

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trainer.physics.xray_graphics import BlendingRasteriser, NoGraphicsError
from trainer.physics.xray_raster import path_attenuation

LARGEST_DIFFERENCE = 1e-3  # rms
REPEATS = 3
WAYS = "processor", "card", "faster"
# What OpenGL calls renderers that are programs, not cards.
PROGRAMS = "llvmpipe", "softpipe", "swrast", "swiftshader", "software", "basic render", "gdi generic"


@dataclass(frozen=True)
class Choice:
    """The rasteriser to use, and why.

    Parameters
    ----------
    rasterise : callable
        `rasterise(surfaces, carm)`, for `PictureChain`.
    processor_seconds, graphics_seconds : float
        Of one new pose; infinite where the card cannot be used, not a number where nothing was measured. [s]
    difference : float
        Root mean square between both pictures; not a number where there is only one.
    card : str
        What OpenGL calls the card, or why there is none; empty where nobody asked.
    """

    rasterise: Callable
    processor_seconds: float = float("nan")
    graphics_seconds: float = float("nan")
    difference: float = float("nan")
    card: str = ""

    @property
    def by_card(self):
        return self.rasterise is not path_attenuation


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


def is_program(card):
    """Return whether the renderer that OpenGL names is a program on the processor instead of a card."""
    return any(name in card.lower() for name in PROGRAMS)


def check_way(drawn_by):
    """Return who is to draw; raises ValueError if that is none of `WAYS`."""
    if drawn_by not in WAYS:
        raise ValueError(f"drawn_by must be one of {', '.join(WAYS)}, got {drawn_by!r}: name one of them")
    return drawn_by


def rasteriser_for(surfaces, carm, *, drawn_by="processor", graphics=None):
    """Return the Choice for what somebody has asked for.

    To be called from the thread that will draw.

    Parameters
    ----------
    drawn_by : str
        "processor": the same picture to the last bit everywhere. "card": the card, or the program that
        stands for one. "faster": measured where there is a real card, otherwise the processor at once.
    graphics : callable or None
        A BlendingRasteriser; a new one if None.

    Raises
    ------
    ValueError
        If `drawn_by` is none of these.
    NoGraphicsError
        If the card is asked for and there is no OpenGL.
    """
    if check_way(drawn_by) == "processor":
        return Choice(path_attenuation)
    graphics = BlendingRasteriser() if graphics is None else graphics
    if drawn_by == "card":
        return Choice(graphics, card=graphics.card)
    try:
        card = graphics.card
    except NoGraphicsError as error:
        return Choice(path_attenuation, card=str(error))
    if is_program(card):
        return Choice(path_attenuation, card=card)
    return choose_rasteriser(surfaces, carm, graphics=graphics)
