"""The ventral interlaminar line on an oblique picture, and how far a needle's tip is past it."""

from dataclasses import dataclass

import numpy as np

from meshes.tables.loader import number
from trainer.physics.lamina_angle import side_sign
from trainer.physics.picture_rays import millimetres_per_pixel, picture_point


@dataclass(frozen=True, eq=False)
class VentralLineReading:
    """Where the tip of a needle appears against the ventral interlaminar line.

    Parameters
    ----------
    side : str
        The side that the needle comes from, whose laminae are seen on end.
    line : (n, 2) float
        The line on the picture, caudal to cranial. [pixels]
    past : float
        How far the tip appears beyond the line, toward the front of the patient; negative behind it. [mm]
    place : str
        "behind the line", "at the line" or "beyond the line", by the limits of the table.
    """

    side: str
    line: np.ndarray
    past: float
    place: str


def _signed_distance(point, line, front):
    """Return the distance of a point (2,) to a polyline (n, 2), positive on the side of `front` (2,)."""
    start, along = line[:-1], np.diff(line, axis=0)
    share = np.clip(np.sum((point - start) * along, axis=1) / np.sum(along**2, axis=1), 0.0, 1.0)
    away = point - start - share[:, None] * along
    nearest = int(np.argmin(np.linalg.norm(away, axis=1)))
    normal = np.array([-along[nearest, 1], along[nearest, 0]])
    normal *= np.sign(normal @ front) / np.linalg.norm(normal)
    # At a corner the nearest point is the corner itself.
    return float(np.copysign(np.linalg.norm(away[nearest]), normal @ away[nearest]))


def read_ventral_line(anatomy, tip, *, carm, side):
    """Return the VentralLineReading of a needle's tip (3,) in a picture.

    Meant for oblique pictures; in a frontal one front and back lie on each other.

    Raises
    ------
    ValueError
        If `side` is neither left nor right, the laminae on that side are gone, or the picture is frontal.
    """
    side_sign(side)
    points = anatomy.landmarks.ventral_interlaminar_line[side]
    if len(points) < 2:
        raise ValueError(f"side must have laminae, got {side!r} without any: take the other side")
    front = np.array([carm.axes[0] @ [0.0, -1.0, 0.0], -carm.axes[1] @ [0.0, -1.0, 0.0]])
    if abs(front[0]) < 0.1:
        raise ValueError("carm must look from an oblique or a lateral angle, got a frontal picture: turn it")
    line = picture_point(carm, points)
    past = _signed_distance(picture_point(carm, tip), line, front) * millimetres_per_pixel(carm, tip)
    least, most = (number("picture_reading", f"ventral_line.past_{key}") for key in ("least", "most"))
    place = "behind the line" if past < least else "beyond the line" if past > most else "at the line"
    return VentralLineReading(side, line, past, place)
