"""Closed surfaces with a step of attenuation: all that the X-ray knows about a body or a tool."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Surfaces:
    """Closed oriented triangle surfaces with a step of attenuation on each face.

    Parameters
    ----------
    vertices : (n, 3) float
        [mm]
    faces : (m, 3) int
        Wound so that normals point out of the inner material.
    jump : (m,) float
        Attenuation inside minus outside. [1/mm]

    Raises
    ------
    ValueError
        If shapes do not belong together, a face names a missing vertex or a number is not finite.
    """

    vertices: np.ndarray
    faces: np.ndarray
    jump: np.ndarray

    def __post_init__(self):
        vertices = np.ascontiguousarray(self.vertices, float)
        faces = np.ascontiguousarray(self.faces, np.int64)
        jump = np.ascontiguousarray(np.broadcast_to(np.asarray(self.jump, float), len(faces)))
        if vertices.ndim != 2 or vertices.shape[1] != 3:
            raise ValueError(
                f"vertices must have shape (n, 3), got {vertices.shape}: put x, y, z on the last axis"
            )
        if faces.ndim != 2 or faces.shape[1] != 3:
            raise ValueError(f"faces must have shape (m, 3), got {faces.shape}: give triangles")
        if len(faces) and not (faces.min() >= 0 and faces.max() < len(vertices)):
            raise ValueError(
                f"faces must name vertices 0 to {len(vertices) - 1}, got {faces.min()} to {faces.max()}: "
                "count from zero"
            )
        if not (np.all(np.isfinite(vertices)) and np.all(np.isfinite(jump))):
            raise ValueError(
                "vertices and jump must be finite, got infinity or not a number: repair the mesh"
            )
        for name, array in (("vertices", vertices), ("faces", faces), ("jump", jump)):
            # A view: the caller's own array stays as writeable as it was.
            array = array.view()
            array.setflags(write=False)
            object.__setattr__(self, name, array)


def join_surfaces(parts):
    """Return one `Surfaces` with the faces of all `parts`; none at all gives an empty one."""
    parts = list(parts)
    if not parts:
        return Surfaces(np.zeros((0, 3)), np.zeros((0, 3), np.int64), np.zeros(0))
    starts = np.cumsum([0] + [len(p.vertices) for p in parts[:-1]])
    return Surfaces(
        np.concatenate([p.vertices for p in parts]),
        np.concatenate([p.faces + start for p, start in zip(parts, starts)]),
        np.concatenate([p.jump for p in parts]),
    )
