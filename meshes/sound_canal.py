"""Where the dorsal wall of the canal and the spinous processes would lie without what a finding has done.

Fascia and skin are fitted over these: a thick flavum, a narrow canal or a lamina taken out changes the canal
and not the outline of the back.
"""

import numpy as np

from meshes.canal_wall import FLAVUM_BOW, LONGEST_ABOVE, LONGEST_BELOW, RIDGE_SEARCH
from meshes.fields import evaluate
from meshes.findings import CentralStenosis, FlavumThickening, Laminectomy, of_kind
from meshes.rows import cut_by_finding
from meshes.tables.loader import number

# How far the rounding of the wall takes it into the canal at the middle of a gap: 0.00-0.19, measured. [mm]
ROUNDED = 0.07
# Rays that look for the bone that was there. [mm]
NEAREST, FARTHEST, APART = 2.0, 16.0, 0.1
# The same from behind: beyond the tip of the spine, its length, and the step. [mm]
SPINE, LONGEST_SPINE, LOOKED = 6.0, 50.0, 0.25


def disturbed(findings, interspaces):
    """Return the names among `interspaces` whose dorsal wall a finding has moved on the midline."""
    narrow = of_kind(findings, FlavumThickening) + of_kind(findings, CentralStenosis)
    names = {finding.interspace for finding in narrow}
    levels = {cut.level for cut in of_kind(findings, Laminectomy)}
    return {name for name in interspaces if name in names or levels & set(name.split("-"))}


def uncut_rows(rows):
    """Return the rows (n, 44) of a bone without the cuts of a laminectomy."""
    return rows[~cut_by_finding(rows)]


def _bone_before_surgery(canal, bone, *, rows, scale):
    """Return the radius (k,) at `rows` (k,) of the chart at which an uncut bone begins. [mm]"""
    reach = np.arange(NEAREST, FARTHEST, APART)
    points = canal.centre[rows][:, None] + reach[None, :, None] * canal.dorsal[rows][:, None]
    inside = canal.poses[bone.level].inverse().apply(points.reshape(-1, 3)) / scale
    return _first_inside(evaluate(uncut_rows(bone.shape.rows), inside).reshape(points.shape[:2]), reach)


def _first_inside(field, places):
    """Return which of `places` (m,) is the first inside, along each row of a field (k, m); inf if none is."""
    inside = field < 0.0
    return np.where(inside.any(axis=1), places[np.argmax(inside, axis=1)], np.inf)


def taken_behind(bones, poses, parameters, x, z):
    """Return y (n,) of the back of the bones that surgery has cut, as they were, at x, z (n,); -inf beside.

    [mm]
    """
    found, scale = np.full(len(z), -np.inf), parameters.stature_scale
    for level in sorted({cut.level for cut in of_kind(parameters.findings, Laminectomy)}):
        placed = poses[level].apply(bones[level].vertices)
        tip = poses[level].apply(scale * np.array([0.0, *bones[level].shape.spinous_tip]))
        rows = np.flatnonzero((z > min(placed[:, 2].min(), tip[2]) - SPINE) & (z < placed[:, 2].max()))
        depth = np.arange(0.0, LONGEST_SPINE * scale, LOOKED)
        y = tip[1] + SPINE - depth
        points = np.stack(np.broadcast_arrays(x[rows][:, None], y[None], z[rows][:, None]), axis=-1)
        inside = poses[level].inverse().apply(points.reshape(-1, 3)) / scale
        field = evaluate(uncut_rows(bones[level].shape.rows), inside).reshape(points.shape[:2])
        found[rows] = np.maximum(found[rows], tip[1] + SPINE - _first_inside(field, depth))
    return found


def _bone_radius(canal, bones, level, rows, *, cut, scale):
    """Return the radius (k,) of the sound bone of one level on the midline, at `rows` (k,) of the chart."""
    seen = canal.bone_wall[rows, 0]
    if level not in cut:
        return seen
    return np.minimum(seen, _bone_before_surgery(canal, bones[level], rows=rows, scale=scale))


def sound_centre(canal, bones, parameters, interspace):
    """Return the point (3,) half way up an interlaminar gap on the midline of the sound dorsal wall. [mm]

    The ligament stretches from the ridge of the lower lamina half way up the upper one, as in
    `meshes.canal_wall`, whose rounding is taken as one figure here.
    """
    space, scale = canal.interspaces[interspace], parameters.stature_scale
    cut = {finding.level for finding in of_kind(parameters.findings, Laminectomy)}
    near = np.flatnonzero(np.abs(canal.u - space.flavum_caudal) < RIDGE_SEARCH)
    ridge = _bone_radius(canal, bones, space.lower, near, cut=cut, scale=scale)
    first = near[np.argmin(ridge)]
    last = min(int(np.searchsorted(canal.u, space.flavum_cranial)), len(canal.u) - 1)
    high = _bone_radius(canal, bones, space.upper, np.array([last]), cut=cut, scale=scale)[0]
    station = 0.5 * (space.flavum_caudal + space.lamina_caudal_edge)
    t = np.clip((station - canal.u[first]) / (canal.u[last] - canal.u[first]), 0.0, 1.0)
    chord = (1.0 - t) * min(ridge.min(), LONGEST_BELOW) + t * min(high, LONGEST_ABOVE)
    thickness = scale * number("flavum", f"{interspace}.thickness") * (parameters.flavum_scale - 1.0)
    radius = chord + FLAVUM_BOW * np.sin(np.pi * t) - thickness - ROUNDED
    return np.asarray(canal.to_world(station, 0.0, radius)).reshape(3)
