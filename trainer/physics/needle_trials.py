"""Very many needles at once: does each reach the epidural space free of bone? Compiled, in two threads.

Places come from the height fields and the distance is trilinear, so one needle costs half a microsecond;
clearances are coarse (up to 1 mm too large) and must be certified by check_needle before they are quoted.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from meshes.compiled import kernel
from meshes.distance import nearest_bone
from meshes.soft_tissue import canal_height, window_stations
from meshes.tables.loader import number
from trainer.physics.needle import axis_from_skin
from trainer.physics.needle_axis import arrays_of, roof_crossing

THREADS = 2
CHUNK = 4096
BELOW_WINDOW, ABOVE_WINDOW = (
    2.0,
    6.0,
)  # [mm] about the bony gap, still this interspace
# What becomes of a needle.
FREE, ELSEWHERE, TOO_LONG, BONE, NO_ROOM = 1, 0, -1, -2, -3


@dataclass(frozen=True)
class Rule:
    """What a needle must keep to count as free.

    Parameters
    ----------
    length : float
        The longest way to the epidural space and one bevel past it. [mm]
    radius, margin : float
        Of the shaft, and what it keeps from bone. [mm]
    bevel : float
        [mm]
    travel : float
        Least way from the epidural entry to the dura. [mm]
    offset : float
        Largest offset of the epidural entry from the midline, to either side. [mm]
    """

    length: float
    radius: float
    margin: float
    bevel: float
    travel: float
    offset: float

    @classmethod
    def of(cls, needle, **changes):
        """Return the rule of the table's criteria for a needle."""
        figures = {
            "margin": number("needle", "least_clearance"),
            "travel": needle.bevel_length,
            "offset": number("needle", "offset.largest"),
        }
        return cls(needle.length, needle.outer_radius, bevel=needle.bevel_length, **(figures | changes))

    def row(self):
        return (self.length, self.radius, self.margin, self.bevel, self.travel, self.offset)


@dataclass(frozen=True, eq=False)
class Trials:
    """Outcome of many needles; every array has one value a needle.

    Parameters
    ----------
    code : int8
        FREE, or why not: ELSEWHERE, TOO_LONG, BONE, NO_ROOM.
    clearance : float32
        Coarse. [mm]
    offset : float32
        Of the epidural entry from the midline, positive on the entry side. [mm]
    travel : float32
        From the epidural entry to the dura. [mm]
    crossing : float32
        How far up the canal the needle's line crosses the midline; inf where it never does. [mm]
    """

    code: np.ndarray
    clearance: np.ndarray
    offset: np.ndarray
    travel: np.ndarray
    crossing: np.ndarray

    @property
    def free(self):
        return self.code == FREE

    def reshaped(self, shape):
        arrays = (self.code, self.clearance, self.offset, self.travel, self.crossing)
        return Trials(*(array.reshape(shape) for array in arrays))


@kernel
def _travel_to_dura(layers, axis, wall):
    x, y, z, dx, dy, dz = axis
    t = wall
    while t < wall + 25.0:
        t += 0.5
        roof = canal_height(layers[1], layers[2], layers[3], 1, x + t * dx, z + t * dz)
        if y + t * dy <= roof:
            return t - wall - 0.25
    return 25.0


@kernel
def try_needles(bones, layers, places, sign, window, rule, code, result):
    """Fill code (n,) and result (n, 4) of needles at places (n, 4): entry x, z, approach, medial.

    window (2,): stations between which an entry counts; rule (6,): see Rule. result: clearance, offset
    on the entry side, travel to the dura, crossing.
    """
    guide, scale = layers[2], layers[3]
    length, radius, margin, bevel, travel, largest = rule
    for n in range(places.shape[0]):
        code[n], result[n, 0], result[n, 1], result[n, 2], result[n, 3] = 0, -1.0, 0.0, 0.0, np.inf
        line = axis_from_skin(layers[0], scale, places[n, 0], places[n, 1], sign, places[n, 2], places[n, 3])
        x, y, z, dx, dy, dz = line[0], line[1], line[2], line[3], line[4], line[5]
        if dy > -0.05:
            continue
        axis = (x, y, z, dx, dy, dz)
        t = roof_crossing(layers, axis, 0.0, 200.0, 4.0)
        if np.isnan(t):
            continue
        px, py, pz = x + t * dx, y + t * dy, z + t * dz
        row = min(max(int((pz - scale[0]) / scale[1] + 0.5), 0), guide.shape[0] - 1)
        ox, oy = px - guide[row, 1], py - guide[row, 2]
        station = guide[row, 3] + ox * guide[row, 7] + oy * guide[row, 8] + pz - (scale[0] + scale[1] * row)
        offset = sign * (ox * guide[row, 4] + oy * guide[row, 5])
        inward = -sign * (dx * guide[row, 4] + dy * guide[row, 5] + dz * guide[row, 6])
        along = dx * guide[row, 7] + dy * guide[row, 8] + dz * guide[row, 9]
        result[n, 1] = offset
        if offset * inward > 0.0:
            result[n, 3] = offset / inward * along
        if station < window[0] or station > window[1] or abs(offset) > largest or along <= 0.0:
            continue
        if t + bevel > length:
            code[n] = -1
            continue
        keep, s, best = radius + margin, 0.0, 1e9
        while s < t:
            room = nearest_bone(bones[0], bones[1], x + s * dx, y + s * dy, z + s * dz, False)[0]
            best = min(best, room)
            if room < keep:
                break
            s += max(room - keep, 0.25)
        result[n, 0] = best - radius
        if best < keep:
            code[n] = -2
            continue
        result[n, 2] = _travel_to_dura(layers, axis, t)
        code[n] = 1 if result[n, 2] >= travel else -3


@kernel
def axis_ends(layers, places, sign, ends):
    """Fill ends (n, 6): entry on the skin and entry into the canal of needles at places (n, 4)."""
    for n in range(places.shape[0]):
        line = axis_from_skin(
            layers[0], layers[3], places[n, 0], places[n, 1], sign, places[n, 2], places[n, 3]
        )
        axis = (line[0], line[1], line[2], line[3], line[4], line[5])
        t = roof_crossing(layers, axis, 0.0, 200.0, 4.0)
        for k in range(3):
            ends[n, k], ends[n, 3 + k] = line[k], line[k] + t * line[3 + k]


def try_aims(anatomy, interspace, places, *, sign, rule, whole_flavum=False):
    """Return Trials of needles at places (n, 4): entry x, z [mm], approach, medial [rad].

    Parameters
    ----------
    sign : float
        1.0 from the patient's left, -1.0 from the right.
    rule : Rule
    whole_flavum : bool
        Count entries as far up as the flavum reaches, as the full check does; a map asks for the bony gap.
    """
    places = np.ascontiguousarray(places, dtype=float)
    bones, layers, _ = arrays_of(anatomy)
    low, high = window_stations(anatomy.canal, interspace)
    high = high + ABOVE_WINDOW
    if whole_flavum:
        high = max(high, anatomy.canal.interspace(interspace).flavum_cranial)
    window = np.array([low - BELOW_WINDOW, high])
    code, result = np.zeros(len(places), np.int8), np.empty((len(places), 4), np.float32)

    def work(start):
        part = slice(start, start + CHUNK)
        try_needles(bones, layers, places[part], sign, window, rule.row(), code[part], result[part])

    starts = range(0, len(places), CHUNK)
    if len(starts) <= 1:
        for start in starts:
            work(start)
    else:
        with ThreadPoolExecutor(THREADS) as pool:
            list(pool.map(work, starts))
    return Trials(code, *result.T)


def serves_lead(trials, prefix=""):
    """Return which needles (n,) leave a mouth that suits the lead: where it lies, and where it points."""
    low, high = (number("needle", f"{prefix}offset.{end}") for end in ("low", "high"))
    near, far = (number("needle", f"{prefix}crossing.{end}") for end in ("low", "high"))
    offset, crossing = trials.offset, trials.crossing
    return trials.free & (offset > low) & (offset < high) & (crossing > near) & (crossing < far)
