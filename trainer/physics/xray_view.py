"""What one pose of the C-arm shows of the patient alone: computed once, then kept."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from meshes.tables.loader import number, numbers
from trainer.physics.xray_blur import narrow_blur, wide_blur
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_collimation import OPEN, Collimation
from trainer.physics.xray_materials import attenuation as attenuation_of
from trainer.physics.xray_raster import Window
from trainer.physics.xray_technique import Technique, automatic_technique

# The floor of the logarithm, as a share of the middle grey.
DARKEST_SIGNAL = 1e-3


@cache
def _measured_places(pixels):
    """Return every other pixel of an upright ellipse in the middle, where the spine lies; (rows, columns)."""
    across = (np.arange(0, pixels, 2) + 0.5) / pixels - 0.5
    rows = across[:, None] / number("xray", "display.measured_height")
    columns = across[None, :] / number("xray", "display.measured_width")
    return tuple(2 * places for places in np.nonzero(rows**2 + columns**2 < 1.0))


def measured(picture, opening):
    """Return the values (k,) of the middle of a picture that are not behind lead."""
    places = _measured_places(len(picture))
    values, open_ = picture[places], opening[places] > 0.5
    return values[open_] if open_.any() else values


def scatter_ratio(middle, *, collimation=OPEN):
    """Return scattered to primary radiation behind the grid, at the middle grey.

    More with thickness, less with a smaller beam. Drawn to give the usual loss of contrast, not measured.
    """
    exposure = numbers("xray", "exposure")
    thickness = middle / attenuation_of("soft_tissue") / number("dose", "voltage.thickness")
    narrowed = collimation.open_share / OPEN.open_share
    return exposure["scatter_to_primary"] * max(thickness, 0.1) * narrowed ** exposure["scatter_with_area"]


@dataclass(frozen=True, eq=False)
class StillView:
    """One pose: what the detector is expected to read without tools, and how that is to be shown.

    Arrays are (n, n) float32 and read-only.

    Parameters
    ----------
    carm, collimation, technique
        How it was taken.
    attenuation : of everything but the tools.
    middle : float
        Attenuation that is exposed to the middle grey.
    scatter : what scatter adds to the primary beam; the tools take too little of the beam to change it.
    scatter_ratio : float
    opening : 1 where the beam passes, 0 behind lead.
    signal : expected reading, 1 at the middle grey.
    base : slow part of its logarithm that the display takes out.
    darkest, lightest : float
        Of logarithm less base, between which the tone curve is straight.
    """

    carm: CArm
    collimation: Collimation
    technique: Technique
    attenuation: np.ndarray
    middle: float
    scatter: np.ndarray
    scatter_ratio: float
    opening: np.ndarray
    signal: np.ndarray
    base: np.ndarray
    darkest: float
    lightest: float

    @property
    def quanta(self):
        """Quanta of one pixel at the middle grey."""
        return self.technique.quanta * self.carm.pixel_pitch**2


def _primary(attenuation, middle):
    signal = np.exp(np.float32(middle) - attenuation.astype(np.float32))
    return np.minimum(signal, np.float32(number("xray", "exposure.brightest")), out=signal)


def _unsharpness(carm):
    return number("xray", "exposure.unsharpness") / carm.pixel_pitch


def _grey_scale(grey, beyond, opening):
    """Return (slow part, darkest, lightest) of a logarithm of readings (n, n): how it is to be shown.

    Metal takes no part in it: it would press bone into few greys. Behind lead the slow part follows `beyond`,
    what would be seen there, so that the edge of the beam does not glow.
    """
    display = numbers("xray", "display")
    filled = np.where(opening > 0.5, grey, beyond)
    reach, metal = display["compression_reach"], np.float32(display["metal"])
    # Twice: metal lowers its own surroundings until it is taken out of them.
    slow = wide_blur(np.maximum(filled, wide_blur(filled, reach) - metal), reach)
    base = np.float32(display["compression"]) * slow
    values = measured(grey - base, opening)[measured(grey - slow, opening) > -metal]
    share = 100.0 * np.array([display["darkest"], display["lightest"]])
    darkest, lightest = np.percentile(values, share)
    return base, float(darkest), float(lightest)


def still_view(attenuation, *, carm, collimation=OPEN, purpose="single"):
    """Return the StillView of an attenuation (n, n), exposed automatically.

    The median of the middle of the picture gets the same kerma at the detector whatever the patient's
    thickness, as far as the generator can.

    Parameters
    ----------
    purpose : str
        "single" or "live", which wants less of the generator.
    """
    exposure = numbers("xray", "exposure")
    opening = collimation.opening(carm.pixels)
    attenuation = attenuation.astype(np.float32)
    middle = float(np.median(measured(attenuation, opening)))
    ratio = scatter_ratio(middle, collimation=collimation)
    without_lead = _primary(attenuation, middle)
    scatter = np.float32(ratio) * wide_blur(without_lead * opening, exposure["scatter_reach"])
    whole = np.float32(1.0 + ratio)
    signal = narrow_blur((without_lead * opening + scatter) / whole, _unsharpness(carm))
    np.maximum(signal, np.float32(DARKEST_SIGNAL), out=signal)
    beyond = np.log(np.maximum((without_lead + scatter) / whole, np.float32(DARKEST_SIGNAL)))
    base, darkest, lightest = _grey_scale(np.log(signal), beyond, opening)
    for array in (attenuation, scatter, signal, base):
        array.setflags(write=False)
    return StillView(
        carm,
        collimation,
        automatic_technique(middle, carm=carm, purpose=purpose, scatter_ratio=ratio),
        attenuation,
        middle,
        scatter,
        ratio,
        opening,
        signal,
        base,
        darkest,
        lightest,
    )


def signal_with(view, tools, window):
    """Return the expected reading (n, n) float32 of a view with tools in it.

    Parameters
    ----------
    tools : (rows, columns) float
        Their attenuation within `window`, beyond which they leave no trace.
    window : Window
    """
    signal = view.signal.copy()
    if window.empty:
        return signal
    carm, deviation = view.carm, _unsharpness(view.carm)
    margin = int(3.0 * deviation + 0.5) + 1
    changed = window.grown(margin, carm.pixels)
    rim = changed.grown(margin, carm.pixels)
    path = view.attenuation[rim.slices].copy()
    path[_inside(window, rim)] += tools
    primary = _primary(path, view.middle) * view.opening[rim.slices]
    blurred = narrow_blur(
        (primary + view.scatter[rim.slices]) / np.float32(1.0 + view.scatter_ratio), deviation
    )
    signal[changed.slices] = np.maximum(blurred[_inside(changed, rim)], np.float32(DARKEST_SIGNAL))
    return signal


def _inside(window, outer):
    """Return what to index the part of a picture in `outer` with, to find that in `window`."""
    return Window(
        window.first_row - outer.first_row,
        window.last_row - outer.first_row,
        window.first_column - outer.first_column,
        window.last_column - outer.first_column,
    ).slices
