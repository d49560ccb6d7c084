"""Left and right made unlike: what lies lateral of the pedicles grows on one side and shrinks on the other.

The bottom edge of the laminae comes lower on the larger side, so that the window below is lower there. Bodies
and canal keep their shape, so that endplates are not tilted and Cobb angles stay exact.
"""

import numpy as np

from meshes.frames import unit
from meshes.primitives import BLADE, CAPSULE, LAMINA

# In a marked case, of either side: share by which processes are longer and thicker, and how far the tip of
# the spinous process leans away from the larger side. Drawn, not measured. [1, 1, mm]
LONGER, THICKER, LEAN = 0.06, 0.07, 3.0
# How steeply the bottom edge of the laminae comes down to the larger side: 1.4 mm between both sides at 6 mm.
SLANT = 0.12
# Nearer to the midline than this a capsule belongs to no side. [mm]
MIDDLE = 3.0


def with_unlike_sides(rows, *, amount, inner):
    """Return a copy of the rows (n, 44), the left side larger where `amount` (-1 to 1) is positive.

    `inner` is the lateral place from which processes stretch: nearer to the midline nothing moves. [mm]
    """
    rows = rows.copy()
    for row in rows:
        if row[0] == CAPSULE:
            _stretch(row, amount=amount, inner=inner)
        elif row[0] == BLADE:
            row[27] = -LEAN * amount
        elif row[0] == LAMINA:
            row[28] = SLANT * amount
    return rows


def _stretch(row, *, amount, inner):
    start, end = row[3:6].copy(), row[3:6] + row[6] * row[7:10]
    middle = 0.5 * (start[0] + end[0])
    if abs(middle) < MIDDLE:
        return
    larger = np.sign(middle) * amount
    for point in (start, end):
        beyond = max(abs(point[0]) - inner, 0.0)
        point[0] += np.sign(point[0]) * beyond * LONGER * larger
    row[3:6], row[6], row[7:10] = start, np.linalg.norm(end - start), unit(end - start)
    second = unit(row[13:16] - row[7:10] * (row[7:10] @ row[13:16]))
    row[10:13], row[13:16] = np.cross(second, row[7:10]), second
    row[16:20] *= 1.0 + THICKER * larger
