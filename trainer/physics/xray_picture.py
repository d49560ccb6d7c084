"""From attenuation to a grey picture: exposure, scatter, unsharpness, quantum noise, and the display.

Bone and metal are dark, air is light, as on a fluoroscope.
"""

import io
from functools import cache

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from meshes.tables.loader import number, numbers
from meshes.whole_files import whole_file
from trainer.physics.xray_marks import mark
from trainer.physics.xray_raster import path_attenuation

# Wide blurs are done on a grid of about this many points a side.
COARSE_POINTS = 64
# Between which greys the tone curve is straight.
TOE, SHOULDER = 0.13, 0.72
# The floor of the logarithm, as a share of the middle grey.
DARKEST_SIGNAL = 1e-3


@cache
def _coarse_axis(pixels):
    """Return where coarse cells start, and for each pixel the cell before it and the share of the next."""
    edges = np.linspace(0, pixels, min(COARSE_POINTS, pixels) + 1).astype(int)
    middles = 0.5 * (edges[1:] + edges[:-1])
    place = np.interp(np.arange(pixels) + 0.5, middles, np.arange(len(middles)))
    before = np.minimum(place.astype(int), len(middles) - 2)
    return edges, before, (place - before).astype(np.float32)


def wide_blur(picture, reach):
    """Return a picture blurred by a Gaussian of `reach` times its width, done on a coarse grid.

    No matrix products: their threads wait for one another when the machine is busy, and their number may
    change the last bit.
    """
    edges, before, share = _coarse_axis(len(picture))
    cells = np.diff(edges).astype(np.float32)
    coarse = np.add.reduceat(np.add.reduceat(picture, edges[:-1], axis=0), edges[:-1], axis=1)
    coarse = gaussian_filter(coarse / (cells[:, None] * cells), reach * len(cells), mode="nearest")
    rows = coarse[before] + share[:, None] * (coarse[before + 1] - coarse[before])
    return rows[:, before] + share * (rows[:, before + 1] - rows[:, before])


@cache
def _disc(pixels, radius, softness):
    """Return 1 inside a centred disc (radius as a share of the width), 0 outside, soft over some pixels."""
    across = np.arange(pixels) + 0.5 - 0.5 * pixels
    distance = np.hypot(across[:, None], across[None, :])
    return np.clip((radius * pixels - distance) / softness + 0.5, 0.0, 1.0).astype(np.float32)


@cache
def _measured_places(pixels):
    """Return every other pixel of an upright ellipse in the middle, where the spine lies; (rows, columns)."""
    across = (np.arange(0, pixels, 2) + 0.5) / pixels - 0.5
    rows = across[:, None] / number("xray", "display.measured_height")
    columns = across[None, :] / number("xray", "display.measured_width")
    return tuple(2 * places for places in np.nonzero(rows**2 + columns**2 < 1.0))


def _measured(picture):
    return picture[_measured_places(len(picture))]


def expose(attenuation, *, rng, pixel_pitch):
    """Return what the detector reads, 1 at the middle grey of the central field.

    The exposure is automatic: the median of the middle of the picture gets the same number of quanta whatever
    the patient's thickness. Scatter is a blurred share of the picture itself, noise is Gaussian with the
    variance of counting quanta (good above some tens a pixel); one energy, no lag.

    Parameters
    ----------
    attenuation : (n, n) float
    rng : numpy.random.Generator
    pixel_pitch : float
        On the detector. [mm]
    """
    exposure = numbers("xray", "exposure")
    middle = np.median(_measured(attenuation))
    signal = np.exp((middle - attenuation).astype(np.float32))
    np.minimum(signal, np.float32(exposure["brightest"]), out=signal)
    ratio = np.float32(exposure["scatter_to_primary"])
    signal = (signal + ratio * wide_blur(signal, exposure["scatter_reach"])) / (1 + ratio)
    signal = gaussian_filter(signal, exposure["unsharpness"] / pixel_pitch, mode="nearest", truncate=3.0)
    quanta = np.float32(exposure["quanta"] * pixel_pitch**2)
    signal += np.sqrt(signal / quanta) * rng.standard_normal(signal.shape, dtype=np.float32)
    return np.maximum(signal, np.float32(DARKEST_SIGNAL))


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


def develop(signal, *, pixel_pitch):
    """Return the picture (n, n) uint8 that the screen shows.

    Logarithm, slow changes compressed, edges sharpened, grey scale set by the middle of the picture, so that
    lungs and the air beside the patient do not take it; a round shutter.
    """
    display = numbers("xray", "display")
    grey = np.log(signal)
    grey -= np.float32(display["compression"]) * wide_blur(grey, display["compression_reach"])
    reach = display["sharpening_reach"] / pixel_pitch
    grey += np.float32(display["sharpening"]) * (
        grey - gaussian_filter(grey, reach, mode="nearest", truncate=3.0)
    )
    share = 100.0 * np.array([display["darkest"], display["lightest"]])
    low, high = np.percentile(_measured(grey), share)
    rise = np.float32((SHOULDER - TOE) / max(high - low, 0.1))
    grey = _tone(TOE + (grey - np.float32(low)) * rise)
    return (255.0 * grey * _disc(len(grey), display["collimation"], 3.0) + 0.5).astype(np.uint8)


def film(attenuation, *, rng, carm=None):
    """Return the grey picture of an attenuation.

    Parameters
    ----------
    attenuation : (n, n) float
        From `path_attenuation`.
    rng : int or numpy.random.Generator
        The noise of this picture; the same seed gives the same picture to the last bit.
    carm : CArm or None
        Adds sides, head and scale to the picture. None leaves a bare one, for measuring only.

    Raises
    ------
    ValueError
        If `attenuation` is not square and finite, or does not belong to `carm`.
    """
    attenuation = np.asarray(attenuation)
    if attenuation.ndim != 2 or attenuation.shape[0] != attenuation.shape[1]:
        raise ValueError(
            f"attenuation must have shape (n, n), got {attenuation.shape}: give one square picture"
        )
    if not np.all(np.isfinite(attenuation)):
        raise ValueError("attenuation must be finite, got infinity or not a number: close the surfaces")
    if carm is not None and carm.pixels != len(attenuation):
        raise ValueError(
            f"carm must have {len(attenuation)} pixels, got {carm.pixels}: use the one it was made with"
        )
    pitch = carm.pixel_pitch if carm is not None else number("xray", "carm.image_size") / len(attenuation)
    picture = develop(
        expose(attenuation, rng=np.random.default_rng(rng), pixel_pitch=pitch), pixel_pitch=pitch
    )
    return picture if carm is None else mark(picture, carm)


def take_picture(still, tools, *, carm, rng):
    """Return the marked picture (n, n) uint8 of a still anatomy with tools in it.

    Parameters
    ----------
    still : StillAttenuation
        Keeps its part by the pose of the C-arm, so that only the tools are drawn anew.
    tools : Surfaces
    carm : CArm
    rng : int or numpy.random.Generator
    """
    moving = path_attenuation(tools, carm, rays_per_pixel_side=2)
    moving += still.seen_by(carm)
    return film(moving, rng=rng, carm=carm)


def png_bytes(picture):
    """Return a picture (n, n) uint8 as the bytes of a PNG file."""
    picture = np.asarray(picture)
    if picture.dtype != np.uint8 or picture.ndim != 2:
        raise ValueError(f"picture must be (n, n) uint8, got {picture.shape} {picture.dtype}: use film")
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, format="PNG")
    return buffer.getvalue()


def write_png(path, picture):
    """Write a picture under its name in one step: either the whole file is there or none.

    Raises OSError if the folder cannot be written.
    """
    content = png_bytes(picture)
    with whole_file(path) as draft:
        draft.write_bytes(content)
