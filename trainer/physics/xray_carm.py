"""Where the tube and the detector stand, and which pixel a point of the patient falls on.

The patient lies prone, the tube stands under the table, the picture is seen from behind.

orbit = 0
    Frontal picture (AP). The beam runs from the front of the patient to the back (+y). The patient's
    left is on the left of the picture, the head on top.
orbit > 0
    The detector swings over the patient's back toward the patient's right. At +90 degrees it is a lateral
    picture: the beam runs from the patient's left to the right (-x), the back is on the left of the picture
    and the front on the right. At -90 degrees back and front change places.
tilt > 0
    The detector moves toward the head.
swivel > 0
    The whole C turns about the vertical; the top of a frontal picture turns toward the patient's left.

The picture's axes seen in the patient's frame, with a = orbit and b = tilt, before the swivel about +y:

    right = (-cos a, -sin a, 0)
    beam  = (-sin a cos b, cos a cos b, sin b)
    up    = beam x right
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from meshes.frames import about_y
from meshes.levels import check_interspace, check_level, split_interspace
from meshes.tables.loader import number
from meshes.units import degrees, radians

LARGEST_TILT = radians(60.0)
LARGEST_ORBIT = radians(180.0)
LARGEST_SWIVEL = radians(90.0)
PIXEL_LIMITS = (16, 4096)


@dataclass(frozen=True, eq=False)
class Detector:
    """The flat square that catches the rays.

    Parameters
    ----------
    centre, right, up : (3,) float
        Its middle [mm]; unit vectors along its rows and up its columns, in the patient's frame.
    side : float
        [mm]
    pixels : int
        Along a side.
    """

    centre: np.ndarray
    right: np.ndarray
    up: np.ndarray
    side: float
    pixels: int

    def pixel_middles(self):
        """Return where the middles of the pixels lie (pixels, pixels, 3), first row on top. [mm]"""
        across = (np.arange(self.pixels) + 0.5) * (self.side / self.pixels) - 0.5 * self.side
        return self.centre + across[None, :, None] * self.right - across[:, None, None] * self.up


@dataclass(frozen=True)
class CArm:
    """An ideal pinhole: a point source and a flat square detector across the middle ray.

    No heel effect, no distortion, no finite focal spot (the unsharpness of `film` stands for it). Two equal
    C-arms compare equal and hash alike, so that a picture can be kept by its pose.

    Parameters
    ----------
    isocentre : (3,) float
        The point that both rotations turn about, in the middle of the picture. [mm]
    orbit, tilt, swivel : float
        See the module. [rad]
    image_size : float
        Side of the detector. [mm]
    pixels : int
        Rows and columns of the picture.
    source_to_detector, source_to_isocentre : float
        Along the middle ray. [mm]

    Raises
    ------
    ValueError
        If a value lies outside its limits.
    """

    isocentre: tuple[float, float, float]
    orbit: float = 0.0
    tilt: float = 0.0
    image_size: float = number("xray", "carm.image_size")
    pixels: int = int(number("xray", "carm.pixels"))
    source_to_detector: float = number("xray", "carm.source_to_detector")
    source_to_isocentre: float = number("xray", "carm.source_to_isocentre")
    swivel: float = 0.0

    def __post_init__(self):
        point = np.asarray(self.isocentre, float)
        if point.shape != (3,) or not np.all(np.isfinite(point)):
            raise ValueError(
                f"isocentre must be three finite numbers, got {self.isocentre!r}: give x, y, z in mm"
            )
        object.__setattr__(self, "isocentre", tuple(point.tolist()))
        _check_angle("orbit", self.orbit, LARGEST_ORBIT)
        _check_angle("tilt", self.tilt, LARGEST_TILT)
        _check_angle("swivel", self.swivel, LARGEST_SWIVEL)
        low, high = PIXEL_LIMITS
        if self.pixels != int(self.pixels) or not low <= self.pixels <= high:
            raise ValueError(
                f"pixels must be a whole number from {low} to {high}, got {self.pixels!r}: try 512"
            )
        if not self.image_size > 0.0:
            raise ValueError(f"image_size must be positive, got {self.image_size!r}: try 300 mm")
        if not 0.0 < self.source_to_isocentre < self.source_to_detector:
            raise ValueError(
                "source_to_isocentre must lie between 0 and source_to_detector, got "
                f"{self.source_to_isocentre!r} and {self.source_to_detector!r}: put the patient between "
                "tube and detector"
            )

    @cached_property
    def axes(self):
        """Rows right, up, beam (3, 3): unit vectors of the picture in the patient's frame."""
        ca, sa, cb, sb = np.cos(self.orbit), np.sin(self.orbit), np.cos(self.tilt), np.sin(self.tilt)
        right = np.array([-ca, -sa, 0.0])
        beam = np.array([-sa * cb, ca * cb, sb])
        return np.array([right, np.cross(beam, right), beam]) @ about_y(self.swivel).T

    @property
    def source(self):
        """Where the rays start (3,). [mm]"""
        return np.array(self.isocentre) - self.source_to_isocentre * self.axes[2]

    @property
    def detector(self):
        """Where the rays end."""
        right, up, beam = self.axes
        return Detector(self.source + self.source_to_detector * beam, right, up, self.image_size, self.pixels)

    @property
    def pixel_pitch(self):
        """Side of a pixel on the detector. [mm]"""
        return self.image_size / self.pixels

    @property
    def magnification(self):
        """How much larger than itself a thing in the isocentre's plane appears."""
        return self.source_to_detector / self.source_to_isocentre

    @property
    def pixels_per_mm(self):
        """Pixels for each millimetre in the isocentre's plane."""
        return self.magnification / self.pixel_pitch

    def project(self, points):
        """Return where points appear.

        Parameters
        ----------
        points : (..., 3) float
            In front of the source. [mm]

        Returns
        -------
        column, row : (...) float
            0 is the left, or upper, edge of the picture; pixel centres lie at halves.
        depth : (...) float
            From the source along the middle ray. [mm]
        """
        right, up, depth = np.moveaxis((np.asarray(points, float) - self.source) @ self.axes.T, -1, 0)
        scale = self.source_to_detector / self.pixel_pitch / depth
        half = 0.5 * self.pixels
        return half + right * scale, half - up * scale, depth

    def rays(self):
        """Return the unit directions (pixels, pixels, 3) from the source through the pixel centres."""
        ends = self.detector.pixel_middles() - self.source
        return ends / np.linalg.norm(ends, axis=-1, keepdims=True)

    def with_changes(self, **changes):
        """Return a copy with some fields replaced."""
        return replace(self, **changes)


def _check_angle(name, angle, largest):
    if not abs(angle) <= largest:
        raise ValueError(
            f"{name}_deg must lie between {-degrees(largest):g} and {degrees(largest):g}, "
            f"got {degrees(angle):g}: choose a value inside"
        )


def _canal_middle(anatomy, level):
    shape = anatomy.bones[level].shape
    behind = shape.posterior_wall + 0.5 * shape.canal_depth
    point = np.array([0.0, behind, 0.0]) * anatomy.parameters.stature_scale
    return anatomy.poses[level].apply(point)


def isocentre_at(anatomy, level):
    """Return the middle of the canal (3,) [mm] at a level, or half way between the two of an interspace.

    Raises ValueError if `level` is neither a modelled level nor an interspace.
    """
    name = str(level)
    if any(dash in name for dash in "-–/"):
        upper, lower = split_interspace(check_interspace(name))
        return 0.5 * (_canal_middle(anatomy, upper) + _canal_middle(anatomy, lower))
    return _canal_middle(anatomy, check_level(name))
