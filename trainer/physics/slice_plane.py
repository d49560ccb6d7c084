"""Planes through a patient, with ruler and angle: pure geometry between picture and patient.

Radiological convention: in axial and coronal slices the patient's left lies on the right of the picture,
axial ones are seen from the feet; sagittal ones have the front on the left. Columns and rows count from the
upper left corner, pixel centres at halves.
"""

from dataclasses import dataclass, replace

import numpy as np

from meshes.frames import unit
from meshes.levels import INTERSPACES, SACRUM, split_interspace
from trainer.physics.xray_carm import isocentre_at

PLANES = ("sagittal", "coronal", "axial")
PITCH = 0.5  # [mm]
LEFT, BACK, HEAD = np.eye(3)
# Where the view is put about what it shows. [mm at stature 1]
SAGITTAL_FRONT, SAGITTAL_BACK_MARGIN, SAGITTAL_FEET = 70.0, 5.0, 80.0
CORONAL_HALF_WIDTH = 95.0
AXIAL_HALF_WIDTH, AXIAL_FRONT = 95.0, 78.0
AXIAL_BACK_MARGIN = 8.0
LARGEST = 2048


@dataclass(frozen=True, eq=False)
class SlicePlane:
    """A plane picture of the patient.

    Parameters
    ----------
    name : str
        "sagittal", "coronal", "axial" or "oblique".
    centre : (3,) float
        In the middle of the picture. [mm]
    right, down : (3,) float
        Unit vectors of the picture in the patient's frame.
    columns, rows : int
    pitch : float
        Side of a pixel. [mm]

    Raises
    ------
    ValueError
        If the directions are not square to each other, or the picture is too large or empty.
    """

    name: str
    centre: np.ndarray
    right: np.ndarray
    down: np.ndarray
    columns: int
    rows: int
    pitch: float = PITCH

    def __post_init__(self):
        for name in ("centre", "right", "down"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), float))
        if not np.allclose(
            [self.right @ self.right, self.down @ self.down, self.right @ self.down], [1, 1, 0]
        ):
            raise ValueError("right and down must be unit vectors square to each other, got others: turn one")
        if not (1 <= self.columns <= LARGEST and 1 <= self.rows <= LARGEST):
            raise ValueError(
                f"columns and rows must lie between 1 and {LARGEST}, got {self.columns} and {self.rows}: "
                "show less, or choose a larger pitch"
            )
        if not self.pitch > 0.0:
            raise ValueError(f"pitch must be positive, got {self.pitch!r}: try 0.5 mm")

    @property
    def normal(self):
        """Unit vector (3,) away from the viewer."""
        return np.cross(self.right, self.down)

    def patient_point(self, places):
        """Return the points (..., 3) [mm] at places (..., 2) of the picture, column and row. [pixels]"""
        across = (np.asarray(places, float) - [0.5 * self.columns, 0.5 * self.rows]) * self.pitch
        return self.centre + across[..., :1] * self.right + across[..., 1:] * self.down

    def picture_point(self, points):
        """Return column and row (..., 2) of points (..., 3) [mm], brought straight onto the plane."""
        away = np.asarray(points, float) - self.centre
        across = np.stack([away @ self.right, away @ self.down], axis=-1) / self.pitch
        return across + [0.5 * self.columns, 0.5 * self.rows]

    def height_of(self, points):
        """Return how far points (..., 3) lie beyond the plane, along its normal. [mm]"""
        return (np.asarray(points, float) - self.centre) @ self.normal

    def moved(self, millimetres):
        """Return the plane so far along its normal: the next slice of a stack."""
        return replace(self, centre=self.centre + millimetres * self.normal)

    def ruler(self, first, second):
        """Return the distance between two places (2,) of the picture. [mm]"""
        return float(np.linalg.norm(np.subtract(first, second)) * self.pitch)

    def angle(self, first, corner, second):
        """Return the angle at `corner` between two other places (2,), 0 to pi. [rad]

        Raises ValueError if a place lies on the corner.
        """
        a, b = np.subtract(first, corner).astype(float), np.subtract(second, corner).astype(float)
        if not (a.any() and b.any()):
            raise ValueError("first and second must lie off the corner, got the same place: choose others")
        return float(np.arctan2(abs(a[0] * b[1] - a[1] * b[0]), a @ b))


def _place(anatomy, at, axis):
    """Return the point (3,) that a plane runs through: the canal at a level, or a coordinate on an axis."""
    if isinstance(at, str):
        return isocentre_at(anatomy, at)
    point = isocentre_at(anatomy, "T12").copy()
    point[axis] = float(at)
    return point


def _size(width, height, pitch):
    return {"columns": round(width / pitch), "rows": round(height / pitch), "pitch": pitch}


def _span(anatomy):
    """Return the height z of the lower and the upper edge of a view of the whole column. [mm]"""
    scale = anatomy.parameters.stature_scale
    return -SAGITTAL_FEET * scale, float(anatomy.canal.centre[-1, 2]) - 4.0 * scale


def sagittal_plane(anatomy, at=0.0, *, pitch=PITCH):
    """Return the sagittal SlicePlane `at` mm to the left, or through the canal of a level."""
    x = _place(anatomy, at, 0)[0]
    low, high = _span(anatomy)
    axis = anatomy.canal.centre[:, 1]
    front = float(axis.min()) - SAGITTAL_FRONT * anatomy.parameters.stature_scale
    back = float(np.max(anatomy.tissue.skin(anatomy.tissue.midline(z := np.arange(low, high, 8.0)), z)))
    back += SAGITTAL_BACK_MARGIN
    centre = [x, 0.5 * (front + back), 0.5 * (low + high)]
    return SlicePlane("sagittal", centre, BACK, -HEAD, **_size(back - front, high - low, pitch))


def coronal_plane(anatomy, at="T12", *, pitch=PITCH):
    """Return the coronal SlicePlane at y = `at` mm, or through the canal of a level."""
    low, high = _span(anatomy)
    centre = [float(anatomy.canal.centre[:, 0].mean()), _place(anatomy, at, 1)[1], 0.5 * (low + high)]
    width = 2.0 * CORONAL_HALF_WIDTH * anatomy.parameters.stature_scale
    return SlicePlane("coronal", centre, LEFT, -HEAD, **_size(width, high - low, pitch))


def axial_plane(anatomy, at="T12-L1", *, along_disc=False, pitch=PITCH):
    """Return the axial SlicePlane at z = `at` mm, or through the canal of a level or interspace.

    With `along_disc` it leans as the disc, or as the body, of that level does.

    Raises ValueError where `at` is not a place of the column, or `along_disc` goes with a height.
    """
    point, scale = _place(anatomy, at, 2), anatomy.parameters.stature_scale
    if not isinstance(at, str):
        near = int(np.argmin(np.abs(anatomy.canal.centre[:, 2] - point[2])))
        point[:2] = anatomy.canal.centre[near, :2]
    back = BACK
    if along_disc:
        if not isinstance(at, str):
            raise ValueError(f"at must name a level or an interspace to lean with, got {at!r}: write T12-L1")
        back = _leaning(anatomy, at)
    reach = float(anatomy.tissue.skin(anatomy.tissue.midline(point[2]), point[2])) - point[1]
    reach = reach / back[1] + AXIAL_BACK_MARGIN
    front = AXIAL_FRONT * scale
    centre = point + 0.5 * (reach - front) * back
    size = _size(2.0 * AXIAL_HALF_WIDTH * scale, reach + front, pitch)
    return SlicePlane("axial", centre, LEFT, back, **size)


def _leaning(anatomy, at):
    """Return the backward direction in the plane of a disc or body, square to the patient's left."""
    name = at.strip().upper().replace("–", "-").replace("/", "-")
    levels = split_interspace(name) if name in INTERSPACES else (name, name)
    marks = [anatomy.landmarks.levels[level] for level in levels]
    lower = marks[0].lower_endplate[1] if levels[0] != levels[1] and levels[0] != SACRUM else None
    normal = marks[1].upper_endplate[1] if lower is None else unit(lower + marks[1].upper_endplate[1])
    return unit(np.cross(normal, LEFT))


def needle_plane(point, direction, *, length=160.0, pitch=PITCH):
    """Return the oblique SlicePlane through a needle's tip (3,) along its direction (3,), seen from its side.

    The picture shows the back on the right and the head on top, as a sagittal one does, `length` mm wide.

    Raises ValueError if the needle runs straight from back to front.
    """
    direction = unit(direction)
    side = np.cross(BACK, direction)
    if np.linalg.norm(side) < 1e-6:
        raise ValueError("direction must lean off the horizontal, got straight from back to front: tilt it")
    if abs(side[0]) < 0.5 * np.linalg.norm(side):
        raise ValueError("direction must run along the patient more than across, got a needle from the side")
    # Seen from the patient's left, as a sagittal slice is.
    normal = unit(side) * -np.sign(side[0])
    # Back stays on the right: the picture's right is the part of it that lies in the plane.
    right = unit(BACK - (BACK @ normal) * normal)
    down = np.cross(normal, right)
    size = round(length / pitch)
    return SlicePlane("oblique", np.asarray(point, float), right, down, size, size, pitch)
