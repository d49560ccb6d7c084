"""Names of the parts of a vertebra, from a place on its surface."""

import numpy as np

from meshes.levels import SACRUM

UPPER_EDGE, LOWER_EDGE = "the upper edge of the {} lamina", "the lower edge of the {} lamina"
FACE, SPINOUS = "the face of the {} lamina", "the spinous process of {}"
SUPERIOR, INFERIOR = "the superior articular process of {}", "the inferior articular process of {}"
TRANSVERSE, BODY, SACRAL = "the transverse process of {}", "the body of {}", "the back of the sacrum"
EDGE_SHARE = 0.25  # of the lamina's height, at either edge
SPINOUS_HALF_WIDTH = 5.0  # [mm]
BEHIND_LAMINA = 2.0  # [mm] where the spinous process has left the lamina
ARTICULAR_REACH = 2.5  # [mm] beyond the half width of the window
TRANSVERSE_REACH = 10.0  # [mm] beyond the half width of the window, past the joint


def lamina_share(lamina, point):
    """Return how high a point (3,) lies on the lamina's slope, 0 lower to 1 upper edge, and how far behind.

    Behind is counted square to the lamina, from its middle. [1], [mm]
    """
    (top_y, top_z), (bottom_y, bottom_z) = lamina.top(abs(point[0])), lamina.bottom(abs(point[0]))
    rise = np.array([top_y - bottom_y, top_z - bottom_z], float)
    length = np.hypot(*rise)
    off = np.array([point[1] - bottom_y, point[2] - bottom_z], float)
    share = float(off @ rise / length**2)
    behind = float(off @ np.array([rise[1], -rise[0]]) / length)
    return share, behind


def bone_part(shape, point):
    """Return the name of the part of a bone that a point (3,) on its surface belongs to.

    Told from the drawn edges of the lamina and the half width of the window; where one part passes into
    the next, the border is a matter of words.

    Parameters
    ----------
    shape : VertebraShape
    point : (3,) float
        In the bone's frame, at stature 1. [mm]
    """
    if shape.level == SACRUM:
        return SACRAL
    if point[1] < shape.posterior_wall:
        return BODY.format(shape.level)
    return _arch_part(shape, point).format(shape.level)


def _arch_part(shape, point):
    side = abs(point[0])
    share, behind = lamina_share(shape.lamina, point)
    if side < SPINOUS_HALF_WIDTH and behind > shape.lamina.middle_radius + BEHIND_LAMINA:
        return SPINOUS
    if side > shape.window_half_width + ARTICULAR_REACH:
        if side > shape.window_half_width + TRANSVERSE_REACH and share > 0.0:
            return TRANSVERSE if share < 1.0 or behind > 0.0 else SUPERIOR
        if share > 1.0 - EDGE_SHARE:
            return SUPERIOR
        if share < EDGE_SHARE:
            return INFERIOR
        return FACE
    if share > 1.0 - EDGE_SHARE:
        return UPPER_EDGE
    if share < EDGE_SHARE:
        return LOWER_EDGE
    return FACE
