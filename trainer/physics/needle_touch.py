"""What a tip touches that no layer shows: nerve roots and small vessels."""

import math

import numpy as np

from meshes.compiled import kernel
from meshes.tables.loader import number
from trainer.physics.needle_track import place_on
from trainer.physics.tissue_layers import EPIDURAL, FAT, SKIN

EVERY = 0.5  # [mm] of new cut at which roots and vessels are looked for
NOT_THERE = (0, SKIN, FAT)


@kernel
def nearest_root(segments, x, y, z):
    """Return (room, index) of the nearest piece (m, 7) of a root: ends and radius; (1e9, -1) without any."""
    best, holder = 1e9, -1
    for k in range(segments.shape[0]):
        ax, ay, az = segments[k, 0], segments[k, 1], segments[k, 2]
        bx, by, bz = segments[k, 3] - ax, segments[k, 4] - ay, segments[k, 5] - az
        px, py, pz = x - ax, y - ay, z - az
        length = bx * bx + by * by + bz * bz
        share = min(max((px * bx + py * by + pz * bz) / max(length, 1e-12), 0.0), 1.0)
        dx, dy, dz = px - share * bx, py - share * by, pz - share * bz
        room = math.sqrt(dx * dx + dy * dy + dz * dz) - segments[k, 6]
        if room < best:
            best, holder = room, k
    return best, holder


def root_touched(state, since):
    """Return words for the root that the tip has touched since it was at a depth, or None."""
    segments, rows = state.scene.roots
    if not len(segments) or state.code_at(state.depth) in NOT_THERE:
        return None
    span = state.depth - min(since, state.depth)
    for depth in np.linspace(state.depth, state.depth - span, int(span / EVERY) + 1):
        room, piece = nearest_root(segments, *place_on(state.track, depth)[0])
        if room < 0.5 * state.needle.outer_radius:
            return state.scene.root_names[rows[piece]]
    return None


def vessel_met(state, since):
    """Return whether the cut has opened a vessel of the epidural space since it ended at a depth.

    Drawn from the grain of the scene by place: the same way meets the same vessels.
    """
    entry = state.start_of(EPIDURAL)
    if entry is None or state.cut <= entry:
        return False
    first, last = int(max(since, entry) / EVERY), int(state.cut / EVERY)
    for cell in range(first + 1, last + 1):
        if state.code_at(cell * EVERY) != EPIDURAL:
            continue
        station, theta, _ = state.scene.anatomy.canal.to_chart(place_on(state.track, cell * EVERY)[0])
        lateral = abs(theta) > number("reaction", "vessel.lateral_from")
        density = number("reaction", f"vessel.{'lateral' if lateral else 'dorsal'}")
        place = int(station / EVERY) * 13 + int(theta * 20.0) * 101
        if state.scene.grain[place % len(state.scene.grain)] < 1.0 - math.exp(-density * EVERY):
            return True
    return False
