"""Pictures of a patient: single shots and live view, kept by pose so that only the tools are drawn anew."""

import io
from collections import OrderedDict
from dataclasses import dataclass

import numpy as np
from PIL import Image

from meshes.tables.loader import number
from meshes.whole_files import whole_file
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_collimation import OPEN
from trainer.physics.xray_display import PLAIN, Screen, develop, expose, noise_tile
from trainer.physics.xray_marks import shown
from trainer.physics.xray_raster import StillAttenuation, Window, path_attenuation, window_of
from trainer.physics.xray_view import StillView, signal_with, still_view

# Depths of the breath that pictures are kept for.
BREATHS = 5


@dataclass(frozen=True, eq=False)
class Frame:
    """One picture and what the next one needs.

    Parameters
    ----------
    picture : (n, n) uint8
        Marked, turned and flipped as the display says.
    screen : Screen
        Give it to the next live frame; keep the frame itself to hold the last image.
    view : StillView
        Its `technique` says what the frame cost.
    """

    picture: np.ndarray
    screen: Screen
    view: StillView


class PictureChain:
    """Everything from a patient to pictures. It holds caches only: no answer depends on what was asked.

    Parameters
    ----------
    scene : Scene
        From `xray_scene.scene_of`.
    rng : int or numpy.random.Generator
        Of the noise that frames take their parts from.
    keep : int
        How many poses are remembered.
    rasterise : callable
        `path_attenuation(surfaces, carm)`, or a faster one of the same numbers.
    """

    def __init__(self, scene, *, rng=0, keep=12, rasterise=path_attenuation):
        self.scene = scene
        self._still = StillAttenuation(scene.still, keep=keep, rasterise=rasterise)
        self._breathing = {}
        self._keep, self._rasterise = keep, rasterise
        self._views = OrderedDict()
        self._seed = int(np.random.default_rng(rng).integers(2**63))
        self._tiles = {}

    def view(self, carm, *, collimation=OPEN, purpose="single", breath=0.0):
        """Return the StillView of a pose, computed at the first call only.

        Parameters
        ----------
        breath : float
            Depth of the breath, 0 out to 1 in; taken in five steps.

        Raises
        ------
        ValueError
            If `breath` lies outside.
        """
        if not 0.0 <= breath <= 1.0:
            raise ValueError(f"breath must lie between 0 and 1, got {breath!r}: 0 is breathed out")
        step = round(breath * (BREATHS - 1))
        key = carm, collimation, purpose, step
        if key not in self._views:
            path = self._still.seen_by(carm) + self._breathed(step).seen_by(carm)
            self._views[key] = still_view(path, carm=carm, collimation=collimation, purpose=purpose)
            while len(self._views) > self._keep:
                self._views.popitem(last=False)
        self._views.move_to_end(key)
        return self._views[key]

    def _breathed(self, step):
        if step not in self._breathing:
            moved = self.scene.breathed(step / (BREATHS - 1))
            self._breathing[step] = StillAttenuation(moved, keep=self._keep, rasterise=self._rasterise)
        return self._breathing[step]

    def shot(self, carm, tools, *, rng, collimation=OPEN, display=PLAIN, breath=0.0):
        """Return the Frame of one single picture: full exposure, no memory of earlier ones."""
        view = self.view(carm, collimation=collimation, breath=breath)
        return self._frame(view, tools, rng=rng, before=None, display=display)

    def live(self, carm, tools, *, rng, before=None, collimation=OPEN, display=PLAIN, breath=0.0):
        """Return the next Frame of a live view.

        Parameters
        ----------
        tools : Surfaces
        rng : numpy.random.Generator
            Chooses the noise; it goes on from frame to frame.
        before : Screen or None
            Of the frame before; None when the pedal has just been pressed. One of another size begins anew.
        """
        view = self.view(carm, collimation=collimation, purpose="live", breath=breath)
        if before is not None and before.average.shape != view.signal.shape:
            before = None
        return self._frame(view, tools, rng=rng, before=before, display=display)

    def _frame(self, view, tools, *, rng, before, display):
        rng = np.random.default_rng(rng)
        window = window_of(tools, view.carm)
        moving = path_attenuation(tools, view.carm, rays_per_pixel_side=2, window=window)
        signal = signal_with(view, moving, window)
        screen, grey = expose(
            signal, noise=self._tile(view.carm.pixels), quanta=view.quanta, rng=rng, before=before
        )
        return Frame(shown(develop(grey, view, display), view.carm, display), screen, view)

    def _tile(self, pixels):
        if pixels not in self._tiles:
            self._tiles[pixels] = noise_tile(pixels, self._seed)
        return self._tiles[pixels]


def breath_at(seconds):
    """Return the depth of quiet breathing, 0 out to 1 in, at a time. [s]"""
    return 0.5 - 0.5 * float(np.cos(2.0 * np.pi * seconds / number("xray", "breath.period")))


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
    taken_with = CArm((0.0, 0.0, 0.0), pixels=len(attenuation)) if carm is None else carm
    rng = np.random.default_rng(rng)
    view = still_view(attenuation, carm=taken_with)
    noise = noise_tile(len(attenuation), rng)
    signal = signal_with(view, np.zeros((0, 0)), Window(0, 0, 0, 0))
    _, grey = expose(signal, noise=noise, quanta=view.quanta, rng=rng)
    picture = develop(grey, view)
    return picture if carm is None else shown(picture, carm, PLAIN)


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
