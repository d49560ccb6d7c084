"""Rigid poses in the patient's frame.

LPS+, right-handed, DICOM's patient frame: +x the patient's left, +y posterior, +z cranial, in mm,
origin at the centre of the upper S1 endplate. A transform is named and read like its product:
`patient_from_l1.apply(points_l1)`.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Pose:
    """A rigid transform: p -> rotation @ p + translation.

    Parameters
    ----------
    rotation : (3, 3) float
        Orthonormal, determinant +1.
    translation : (3,) float
        [mm]
    """

    rotation: np.ndarray
    translation: np.ndarray

    def apply(self, points):
        """Return points (..., 3) [mm] in the outer frame."""
        return np.asarray(points, float) @ self.rotation.T + self.translation

    def turn(self, vectors):
        """Return directions (..., 3) in the outer frame."""
        return np.asarray(vectors, float) @ self.rotation.T

    def inverse(self):
        return Pose(self.rotation.T.copy(), -self.rotation.T @ self.translation)

    def __matmul__(self, other):
        return Pose(self.rotation @ other.rotation, self.apply(other.translation))


def about_x(angle):
    """Return the rotation (3, 3) about +x by `angle` [rad]."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def about_y(angle):
    """Return the rotation (3, 3) about +y by `angle` [rad]."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def about_z(angle):
    """Return the rotation (3, 3) about +z by `angle` [rad]."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def unit(vector):
    """Return `vector` (..., 3) scaled to length one; raises ValueError if it has no direction."""
    vector = np.asarray(vector, float)
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    if np.any(length == 0.0):
        raise ValueError("vector must have a direction, got zero length: give two different points")
    return vector / length
