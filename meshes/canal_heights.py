"""The dorsal canal seen from behind: wall and dura of the chart as heights y over (x, z).

They bracket where a straight axis crosses, at a few nanoseconds a question; the chart itself gives the
crossing. Where the wall overhangs, the height is that of the part met first from behind.
"""

import numpy as np

HALF_WIDTH = 14.0  # [mm] to either side of the dorsal ridge
SPACING = 1.0  # [mm] across
LARGEST_ANGLE = 1.4  # [rad] rays farther round the side are seen edge on
GUIDE_COLUMNS = 11


def _rays(canal):
    theta = (canal.theta + np.pi) % (2.0 * np.pi) - np.pi
    order = np.argsort(theta)
    return order[np.abs(theta[order]) <= LARGEST_ANGLE], theta


def _curves(canal, radii, z):
    """Return x, y (rays, n) at heights z of the lines of equal angle on a surface of the chart."""
    chosen, theta = _rays(canal)
    x, y = np.empty((chosen.size, z.size)), np.empty((chosen.size, z.size))
    for row, j in enumerate(chosen):
        r = radii[:, j : j + 1]
        line = canal.centre + r * (np.sin(theta[j]) * canal.left + np.cos(theta[j]) * canal.dorsal)
        rising = np.maximum.accumulate(line[:, 2]) + 1e-9 * np.arange(len(line))
        x[row], y[row] = np.interp(z, rising, line[:, 0]), np.interp(z, rising, line[:, 1])
    return x, y


def _heights(x, y, at):
    """Return y (n, k) at x = `at` (n, k) from points x, y (rays, n) of each height."""
    x = np.maximum.accumulate(x, axis=0)
    return np.array([np.interp(at[i], x[:, i], y[:, i]) for i in range(x.shape[1])])


def canal_guide(canal, z):
    """Return the canal's axis at heights z: (n, 11), for compiled look-ups.

    Columns: x of the dorsal ridge of the wall; x, y of the centre; station; left (3), tangent (3);
    thickness of the ligamentum flavum.
    """
    heights = np.maximum.accumulate(canal.centre[:, 2]) + 1e-9 * np.arange(len(canal.centre))
    columns = [canal.centre[:, :2], canal.u[:, None], canal.left, canal.tangent]
    columns = np.hstack([*columns, np.asarray(canal.flavum_thickness, float)[:, None]])
    guide = np.empty((z.size, GUIDE_COLUMNS))
    for k in range(columns.shape[1]):
        guide[:, 1 + k] = np.interp(z, heights, columns[:, k])
    return guide


def canal_heights(canal, z):
    """Return heights y (n, k, 2) of wall and dura over z (n,) and k steps across, and the guide (n, 11).

    The steps run from -14 to 14 mm about the dorsal ridge of the wall, every 1 mm. [mm]
    """
    guide = canal_guide(canal, z)
    wall_x, wall_y = _curves(canal, canal.wall, z)
    guide[:, 0] = wall_x[wall_x.shape[0] // 2]
    at = guide[:, :1] + np.arange(-HALF_WIDTH, HALF_WIDTH + 0.5 * SPACING, SPACING)[None]
    dura_x, dura_y = _curves(canal, canal.dura, z)
    return np.stack([_heights(wall_x, wall_y, at), _heights(dura_x, dura_y, at)], axis=-1), guide
