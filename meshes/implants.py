"""Screws, rods, spacers and cement of a column, as meshes and as distances for a needle."""

import numpy as np
from scipy.spatial import cKDTree

from meshes.cement import cement_meshes
from meshes.distance import DistanceGrid
from meshes.frames import unit
from meshes.screws import rod_mesh, rods, screw_mesh, screws
from meshes.spacer import spacer_mesh, spacers
from meshes.swept import points_from_tip, polyline_length
from meshes.tables.loader import number

PITCH, REACH = 0.8, 6.0  # [mm] as the bones'
CURVE_STEP = 0.3  # [mm] between points of a rod that distances are told from; off by 0.004 mm at its surface


def implant_meshes(anatomy):
    """Return {name: (vertices, faces)} in the patient's frame, each closed; empty without implants.

    Parts are called like 'screw L4 left', 'rod L4-S1 left', 'spacer L3-L4', 'cement L1'. [mm]

    Raises
    ------
    ValueError
        If a body cannot hold its cement, or a screw has no pedicle.
    """
    placed = screws(anatomy)
    found = {f"screw {screw.level} {screw.side}": screw_mesh(screw) for screw in placed}
    found |= {rod.name: rod_mesh(rod) for rod in rods(anatomy, placed)}
    found |= {f"spacer {spacer.interspace}": spacer_mesh(spacer) for spacer in spacers(anatomy)}
    return found | cement_meshes(anatomy)


def _to_segment(points, start, end):
    """Return the distance (n,) of points (n, 3) to a straight piece."""
    along = end - start
    share = np.clip((points - start) @ along / (along @ along), 0.0, 1.0)
    across = points - start - share[:, None] * along
    return np.sqrt(np.einsum("ij,ij->i", across, across))


def _to_curve(points, line, *, farthest):
    """Return the distance (n,) of points (n, 3) to a curve (m, 3), inf beyond `farthest`."""
    length = polyline_length(line)
    dense = points_from_tip(line, np.arange(0.0, length + CURVE_STEP, CURVE_STEP))
    return cKDTree(dense).query(points, distance_upper_bound=farthest)[0]


def _sampled(distance, low, high, pitch):
    """Return the DistanceGrid of `distance(points)` round a box from `low` to `high`."""
    low, high = np.asarray(low) - REACH, np.asarray(high) + REACH
    counts = np.ceil((high - low) / pitch).astype(int) + 1
    axes = [low[k] + pitch * np.arange(counts[k]) for k in (2, 1, 0)]
    z, y, x = np.meshgrid(*axes, indexing="ij")
    points = np.stack([x, y, z], axis=-1)
    values = np.minimum(distance(points.reshape(-1, 3)), REACH).reshape(points.shape[:3])
    return DistanceGrid(np.ascontiguousarray(values, dtype=np.float32), low, pitch, REACH, REACH)


def _to_cylinder(points, start, end, radius):
    """Return the signed distance (n,) of points (n, 3) to a cylinder with flat ends, exact outside."""
    along = unit(end - start)
    axial = (points - 0.5 * (start + end)) @ along
    across = points - start - ((points - start) @ along)[:, None] * along
    beside = np.sqrt(np.einsum("ij,ij->i", across, across)) - radius
    above = np.abs(axial) - 0.5 * np.linalg.norm(end - start)
    outside = np.hypot(np.maximum(beside, 0.0), np.maximum(above, 0.0))
    return outside + np.minimum(np.maximum(beside, above), 0.0)


def _screw_distance(screw):
    head = 0.5 * number("implants", "screw.head_diameter")
    back = screw.entry - number("implants", "screw.head_length") * screw.direction

    def distance(points):
        shaft = _to_segment(points, screw.entry, screw.tip) - screw.radius
        return np.minimum(shaft, _to_cylinder(points, back, screw.entry, head))

    return distance


def implant_grids(anatomy, *, pitch=PITCH):
    """Return {name: DistanceGrid} of what stops a needle like bone, in the patient's frame.

    Shafts and rods count as capsules, heads as cylinders, spacers as boxes; exact outside, up to 6 mm.
    Cement lies inside bone and is left out.
    """
    placed, found = screws(anatomy), {}
    meshes = implant_meshes(anatomy)

    def add(name, distance, *, blunt=0.0):
        """`blunt` is by how much the round end of a capsule stands out of the mesh."""
        vertices, _ = meshes[name]
        found[name] = _sampled(distance, vertices.min(axis=0) - blunt, vertices.max(axis=0) + blunt, pitch)

    for screw in placed:
        add(f"screw {screw.level} {screw.side}", _screw_distance(screw), blunt=screw.radius)
    for rod in rods(anatomy, placed):
        radius = 0.5 * number("implants", "rod.diameter")
        line, farthest = rod.line, REACH + radius
        add(rod.name, lambda p, c=line, f=farthest, r=radius: _to_curve(p, c, farthest=f) - r, blunt=radius)
    for spacer in spacers(anatomy):
        add(f"spacer {spacer.interspace}", spacer.distance)
    return found
