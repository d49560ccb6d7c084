"""How much of the body lies in the middle of the beam, without drawing the picture."""

from functools import lru_cache

import numpy as np

from trainer.physics.xray_materials import attenuation


@lru_cache(maxsize=512)
def path_through_body(anatomy, carm):
    """Return the attenuation along the middle ray of a C-arm.

    The body counts as soft tissue throughout: bone in the ray adds to it, lung and gas take away, by about
    a tenth each.
    """
    return attenuation("soft_tissue") * thickness(anatomy.tissue.trunk_mesh(), carm.source, carm.axes[2])


def thickness(mesh, source, direction):
    """Return how much of a closed mesh a ray passes through (Möller and Trumbore's crossing). [mm]

    Parameters
    ----------
    mesh : (vertices (n, 3), faces (m, 3))
    source, direction : (3,) float
        From outside the mesh; of unit length.
    """
    vertices, faces = mesh
    a, b, c = (np.asarray(vertices, float)[np.asarray(faces)[:, k]] for k in range(3))
    first, second = b - a, c - a
    across = np.cross(direction, second)
    size = np.einsum("ij,ij->i", first, across)
    met = np.abs(size) > 1e-12
    a, first, second, across, size = (values[met] for values in (a, first, second, across, size))
    from_a = source - a
    turned = np.cross(from_a, first)
    u, v = np.einsum("ij,ij->i", from_a, across) / size, turned @ direction / size
    along = np.einsum("ij,ij->i", second, turned) / size
    hit = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (along > 0.0)
    # A face seen from outside is entered, from inside left.
    return abs(float(np.sum(along[hit] * np.sign(size[hit]))))
