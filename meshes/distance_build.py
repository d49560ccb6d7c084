"""Exact signed distance grids of closed meshes, whole or as the half of a mirror image.

Every triangle is scattered onto the corners of its cell; from there a front hands the closest triangle from
point to point, so that each value is the exact distance to one triangle, not a marched estimate.
"""

import math

import numpy as np

from meshes.compiled import kernel

REACH = 6.0  # [mm] at stature 1; farther away the grid holds this constant, a safe lower bound
FAR = 1e9
# The 18 neighbours of a grid point along axes and face diagonals; 6 would leave errors of 0.15 mm.
NEIGHBOURS = np.array([n for n in np.ndindex(3, 3, 3) if 1 <= sum(abs(c - 1) for c in n) <= 2]) - 1


@kernel(inline=True)
def _squared_distance(px, py, pz, ab, ac, bb, bc, cc):
    """Return the squared distance of a point from a triangle with one corner at 0 and edges ab, ac."""
    d1 = ab[0] * px + ab[1] * py + ab[2] * pz
    d2 = ac[0] * px + ac[1] * py + ac[2] * pz
    d3, d4, d5, d6 = d1 - bb, d2 - bc, d1 - bc, d2 - cc
    s, t = 0.0, 0.0
    if d1 <= 0.0 and d2 <= 0.0:
        pass
    elif d3 >= 0.0 and d4 <= d3:
        s = 1.0
    elif d6 >= 0.0 and d5 <= d6:
        t = 1.0
    else:
        va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
        if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
            s = d1 / (d1 - d3)
        elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
            t = d2 / (d2 - d6)
        elif va <= 0.0 and d4 >= d3 and d5 >= d6:
            t = (d4 - d3) / ((d4 - d3) + (d5 - d6))
            s = 1.0 - t
        else:
            # Contours hold slivers of no area.
            share = 1.0 / max(va + vb + vc, 1e-30)
            s, t = vb * share, vc * share
    px -= s * ab[0] + t * ac[0]
    py -= s * ab[1] + t * ac[1]
    pz -= s * ab[2] + t * ac[2]
    return px * px + py * py + pz * pz


@kernel(inline=True)
def _triangle(triangles, q):
    """Return corner, edges and their products of row q of triangles (m, 9) = corner, two edges."""
    ab = triangles[q, 3], triangles[q, 4], triangles[q, 5]
    ac = triangles[q, 6], triangles[q, 7], triangles[q, 8]
    bb = ab[0] * ab[0] + ab[1] * ab[1] + ab[2] * ab[2]
    bc = ab[0] * ac[0] + ab[1] * ac[1] + ab[2] * ac[2]
    cc = ac[0] * ac[0] + ac[1] * ac[1] + ac[2] * ac[2]
    return (triangles[q, 0], triangles[q, 1], triangles[q, 2]), ab, ac, bb, bc, cc


@kernel
def _cells_beside(corner, edge_one, edge_two, origin, pitch, count):
    low = corner + min(0.0, edge_one, edge_two)
    high = corner + max(0.0, edge_one, edge_two)
    # One layer of padding on each side stays untouched.
    first = max(1, math.floor((low - origin) / pitch))
    last = min(count - 2, math.ceil((high - origin) / pitch))
    return first, last


@kernel
def scatter(triangles, origin, pitch, squared, closest):
    """Put every triangle's squared distance onto the corners of the cells that its box touches."""
    nz, ny, nx = squared.shape
    for q in range(triangles.shape[0]):
        i0, i1 = _cells_beside(triangles[q, 0], triangles[q, 3], triangles[q, 6], origin[0], pitch, nx)
        j0, j1 = _cells_beside(triangles[q, 1], triangles[q, 4], triangles[q, 7], origin[1], pitch, ny)
        k0, k1 = _cells_beside(triangles[q, 2], triangles[q, 5], triangles[q, 8], origin[2], pitch, nz)
        corner, ab, ac, bb, bc, cc = _triangle(triangles, q)
        for k in range(k0, k1 + 1):
            z = origin[2] + k * pitch - corner[2]
            for j in range(j0, j1 + 1):
                y = origin[1] + j * pitch - corner[1]
                for i in range(i0, i1 + 1):
                    x = origin[0] + i * pitch - corner[0]
                    d = _squared_distance(x, y, z, ab, ac, bb, bc, cc)
                    if d < squared[k, j, i]:
                        squared[k, j, i] = d
                        closest[k, j, i] = q


@kernel
def offer_around(triangles, origin, pitch, flat, holder, row, plane, q, listed, later, waiting):
    """Offer the closest triangle of grid point `q` to its neighbours; list those that take it.

    `row` and `plane` are how many points lie between neighbours in y and z. Points of the padding, marked by
    a negative distance, take nothing. Returns how many points `later` holds then.
    """
    d, mine = flat[q], holder[q]
    corner, ab, ac, bb, bc, cc = _triangle(triangles, mine)
    x = origin[0] + (q % row) * pitch - corner[0]
    y = origin[1] + (q % plane // row) * pitch - corner[1]
    z = origin[2] + (q // plane) * pitch - corner[2]
    for side in range(NEIGHBOURS.shape[0]):
        di, dj, dk = NEIGHBOURS[side, 0], NEIGHBOURS[side, 1], NEIGHBOURS[side, 2]
        n = q + di + dj * row + dk * plane
        if flat[n] <= d or holder[n] == mine:
            continue
        offer = _squared_distance(x + di * pitch, y + dj * pitch, z + dk * pitch, ab, ac, bb, bc, cc)
        if offer < flat[n]:
            flat[n], holder[n] = offer, mine
            if listed[n] == 0:
                listed[n] = 1
                later[waiting] = n
                waiting += 1
    return waiting


@kernel
def spread(triangles, origin, pitch, squared, closest, reach):
    """Hand the closest triangles on from point to point, nearest first, as far as `reach`.

    A point that finds a closer triangle hands on again.
    """
    row, plane = squared.shape[2], squared.shape[1] * squared.shape[2]
    flat, holder = squared.reshape(-1), closest.reshape(-1)
    now, later = np.empty(flat.size, np.int32), np.empty(flat.size, np.int32)
    listed = np.zeros(flat.size, np.uint8)
    count = 0
    for q in range(flat.size):
        if holder[q] >= 0:
            now[count] = q
            listed[q] = 1
            count += 1
    front = pitch
    while count > 0:
        waiting = 0
        for turn in range(count):
            q = now[turn]
            if flat[q] > reach * reach:
                continue
            if flat[q] > front * front:
                later[waiting] = q
                waiting += 1
                continue
            listed[q] = 0
            waiting = offer_around(
                triangles, origin, pitch, flat, holder, row, plane, q, listed, later, waiting
            )
        now, later, count = later, now, waiting
        front += pitch


@kernel
def fill_triangle_rows(rows, vertices, faces, left_of):
    """Fill `rows` with the triangles that reach beyond x = `left_of`; return how many there are."""
    count = 0
    for face in range(faces.shape[0]):
        a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
        if max(vertices[a, 0], vertices[b, 0], vertices[c, 0]) <= left_of:
            continue
        for k in range(3):
            rows[count, k] = vertices[a, k]
            rows[count, 3 + k] = vertices[b, k] - vertices[a, k]
            rows[count, 6 + k] = vertices[c, k] - vertices[a, k]
        count += 1
    return count


def triangle_rows(vertices, faces, *, left_of=-np.inf):
    """Return (m, 9): first corner and two edges from it, of the triangles that reach beyond x = `left_of`."""
    rows = np.empty((len(faces), 9))
    # One kind of array each, so that the kernel is compiled once.
    vertices, faces = np.require(vertices, float, ["C", "W"]), np.require(faces, np.int32, ["C", "W"])
    return rows[: fill_triangle_rows(rows, vertices, faces, float(left_of))]


def unsigned_distance(triangles, *, origin, pitch, shape, reach=REACH):
    """Return the distance (nz, ny, nx) of grid points to triangles, at most `reach`. [mm]

    Exact wherever the closest triangle is handed on without a break; measured beside exact closest points
    on vertebrae at 0.8 mm pitch: rms 0.004, largest error 0.055 mm. Triangles that lie outside the grid are
    not seen.
    """
    squared = np.full([n + 2 for n in shape], -1.0, np.float32)
    inner = squared[1:-1, 1:-1, 1:-1]
    inner[:] = FAR
    closest = np.full(squared.shape, -1, np.int32)
    corner = np.asarray(origin, float) - pitch
    scatter(triangles, corner, float(pitch), squared, closest)
    spread(triangles, corner, float(pitch), squared, closest, float(reach))
    return np.minimum(np.sqrt(inner), np.float32(reach))


def signed_grid(vertices, faces, field, *, origin, pitch, reach=REACH):
    """Return the signed distance (nz, ny, nx) float32 of a closed mesh.

    Parameters
    ----------
    vertices, faces : (n, 3) float, (m, 3) int
        Closed mesh. Where the grid begins at x = 0 it must be a mirror image in that plane: only what lies
        beside the grid is asked then. [mm]
    field : (nz, ny, nx) float
        Any field on the same grid, negative inside: it only lends its sign.
    origin : (3,) float
        First grid point. [mm]
    """
    rows = triangle_rows(vertices, faces, left_of=-1.5 * pitch if origin[0] == 0.0 else -np.inf)
    distance = unsigned_distance(rows, origin=origin, pitch=pitch, shape=field.shape, reach=reach)
    return np.copysign(distance, field)


def mirrored(half, out=None):
    """Return the whole grid (nz, ny, 2 nx - 1) of a half grid, written into `out` where given."""
    nz, ny, nx = half.shape
    whole = np.empty((nz, ny, 2 * nx - 1), half.dtype) if out is None else out
    whole[:, :, nx - 1 :] = half
    whole[:, :, : nx - 1] = half[:, :, :0:-1]
    return whole
