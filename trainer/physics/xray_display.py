"""From expected readings to a grey picture: noise, noise filter and lag, logarithm, edges, tone.

Bone and metal are dark, air is light, as on a fluoroscope.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from meshes.compiled import kernel
from meshes.tables.loader import number
from trainer.physics.two_threads import in_parts
from trainer.physics.xray_blur import blur_along, blur_down, half_weights
from trainer.physics.xray_view import DARKEST_SIGNAL

# Between which greys the tone curve is straight.
TOE, SHOULDER = 0.19, 0.74
# The tone curve as a table over these levels.
LEAST_LEVEL, LARGEST_LEVEL, LEVELS = -1.0, 3.0, 4096
# How far a frame's noise may be shifted from that of another, in pixels.
SHIFTS = 256


@dataclass(frozen=True)
class Display:
    """How a picture is shown. None of it changes what has been measured.

    Parameters
    ----------
    brightness : float
        Added to every grey, -1 to 1.
    contrast : float
        Steepness of the grey scale, 1 as it comes.
    sharpening : float
        Share of the fine detail that is added again.
    inverted : bool
        Bone light on dark, as on a film.
    turn : float
        Of the picture on the screen, against the clock. [rad]
    flipped : bool
        Left and right changed over, before the turn.
    marked : bool
        Whether sides, head and scale are drawn in; a window that draws its own leaves them out.

    Raises
    ------
    ValueError
        If brightness is beyond 1, contrast out of its range or turn not finite.
    """

    brightness: float = 0.0
    contrast: float = 1.0
    sharpening: float = number("xray", "display.sharpening")
    inverted: bool = False
    turn: float = 0.0
    flipped: bool = False
    marked: bool = True

    def __post_init__(self):
        if not -1.0 <= self.brightness <= 1.0:
            raise ValueError(
                f"brightness must lie between -1 and 1, got {self.brightness!r}: 0 is as it comes"
            )
        if not 0.1 <= self.contrast <= 10.0:
            raise ValueError(f"contrast must lie between 0.1 and 10, got {self.contrast!r}: 1 is as it comes")
        if not np.isfinite(self.turn):
            raise ValueError(f"turn must be finite, got {self.turn!r}: 0 is upright")


PLAIN = Display()


@dataclass(frozen=True, eq=False)
class Screen:
    """What a live view remembers between two frames; a value.

    Parameters
    ----------
    reading, average : (n, n) float32
        What the detector still holds, and what the noise filter shows.
    frames : int
        How many went into it.
    """

    reading: np.ndarray
    average: np.ndarray
    frames: int = 1


def noise_tile(pixels, rng):
    """Return (pixels + 256, pixels + 256) float32 of standard normal noise, from which frames take a part."""
    size = pixels + SHIFTS
    return np.random.default_rng(rng).standard_normal((size, size), dtype=np.float32)


@kernel
def read_rows(signal, noise, down, across, relative, kept, share, floor, before, first, last, after, grey):
    """Fill rows of reading and average (2, n, n) `after`, and of the average's logarithm `grey`.

    The reading is the signal with noise of relative standard deviation `relative` at 1, growing as its root,
    and the share `kept` of the reading before. The average takes the share `share` of it.
    """
    old_reading, old_average, reading, average = before[0], before[1], after[0], after[1]
    for j in range(first, last):
        for i in range(signal.shape[1]):
            value = signal[j, i] + np.sqrt(signal[j, i]) * relative * noise[j + down, i + across]
            value = value + kept * (old_reading[j, i] - value)
            reading[j, i] = value
            mean = old_average[j, i] + share * (value - old_average[j, i])
            average[j, i] = mean
        for i in range(signal.shape[1]):
            grey[j, i] = np.log(max(average[j, i], floor))


@kernel
def tone_rows(grey, blurred, base, opening, sharpening, darkest, rise, table, least, steps, first, last, out):
    """Fill rows of the picture from logarithm, its narrow blur, its slow part and the tone table."""
    largest = table.shape[0] - 1
    for j in range(first, last):
        for i in range(grey.shape[1]):
            fine = grey[j, i] + sharpening * (grey[j, i] - blurred[j, i]) - base[j, i]
            place = np.int32(((fine - darkest) * rise - least) * steps)
            place = min(max(place, 0), largest)
            out[j, i] = np.uint8(table[place] * opening[j, i] + np.float32(0.5))


def _tone(level):
    """Return grey 0 to 1: straight from toe to shoulder, ever slower beyond either.

    The toe keeps metal apart from the bone that it lies on.
    """
    above = np.maximum(level - SHOULDER, 0.0) / (1.0 - SHOULDER)
    below = np.maximum(TOE - level, 0.0) / TOE
    return (
        np.clip(level, TOE, SHOULDER)
        + (1.0 - SHOULDER) * (1.0 - np.exp(-above))
        - TOE * (1.0 - np.exp(-below))
    )


@lru_cache(maxsize=8)
def _tone_table(brightness, contrast, inverted):
    """Return greys 0 to 255 (LEVELS,) float32 over the levels of the table."""
    level = LEAST_LEVEL + (np.arange(LEVELS) + 0.5) * (LARGEST_LEVEL - LEAST_LEVEL) / LEVELS
    middle = 0.5 * (TOE + SHOULDER)
    grey = _tone(middle + contrast * (level - middle) + brightness)
    table = (255.0 * (1.0 - grey if inverted else grey)).astype(np.float32)
    table.setflags(write=False)
    return table


def expose(signal, *, noise, quanta, rng, before=None):
    """Return the Screen after one more frame, and its logarithm (n, n) float32.

    Noise is Gaussian with the variance of counting quanta (good above some tens a pixel).

    Parameters
    ----------
    signal : (n, n) float32
        Expected reading, 1 at the middle grey.
    noise : float32
        From `noise_tile`; the frame takes a part of it that `rng` chooses.
    quanta : float
        Of one pixel at the middle grey.
    before : Screen or None
        None begins anew: no lag, no filter.
    """
    rows = len(signal)
    down, across = (int(k) for k in rng.integers(0, SHIFTS, 2))
    live = before is not None
    kept, share = (number("xray", "live.lag"), number("xray", "live.newest")) if live else (0.0, 1.0)
    old = np.stack([before.reading, before.average]) if live else np.zeros((2, 1, 1), np.float32)
    if not live:
        old = np.broadcast_to(old, (2, rows, rows)).copy()
    after, grey = np.empty((2, rows, rows), np.float32), np.empty((rows, rows), np.float32)
    figures = [np.float32(value) for value in (quanta**-0.5, kept, share, DARKEST_SIGNAL)]

    def band(first, last):
        read_rows(signal, noise, down, across, *figures, old, first, last, after, grey)

    in_parts(band, rows)
    after.setflags(write=False)
    return Screen(after[0], after[1], before.frames + 1 if live else 1), grey


def develop(grey, view, display=PLAIN):
    """Return the picture (n, n) uint8 of a logarithm of readings, as the view wants it shown; not turned."""
    rows = len(grey)
    weights = half_weights(number("xray", "display.sharpening_reach") / view.carm.pixel_pitch)
    along, blurred = np.empty_like(grey), np.empty_like(grey)
    picture = np.empty(grey.shape, np.uint8)
    table = _tone_table(display.brightness, display.contrast, display.inverted)
    rise = (SHOULDER - TOE) / max(view.lightest - view.darkest, 0.1)
    steps = LEVELS / (LARGEST_LEVEL - LEAST_LEVEL)
    figures = [np.float32(value) for value in (display.sharpening, view.darkest, rise)]
    scale = [np.float32(LEAST_LEVEL - TOE), np.float32(steps)]

    def first_pass(first, last):
        blur_along(grey, weights, first, last, along)

    def second_pass(first, last):
        blur_down(along, weights, first, last, blurred)
        tone_rows(grey, blurred, view.base, view.opening, *figures, table, *scale, first, last, picture)

    in_parts(first_pass, rows)
    in_parts(second_pass, rows)
    return picture
