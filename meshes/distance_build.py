"""Exact signed distance grids of closed meshes that are mirror images in x = 0.

Every triangle is scattered onto the grid points beside it; sweeps then hand the closest triangle from
point to point, so that each value is the exact distance to one triangle, not a marched estimate.
"""

import math

import numpy as np

from meshes.compiled import kernel

REACH = 6.0  # [mm] at stature 1; farther away the grid holds this constant, a safe lower bound
FAR = 1e9


@kernel
def squared_distance_to_triangle(x, y, z, triangles, index):
    """Return the squared distance of a point to row `index` of triangles (m, 9) = corner, two edges."""
    abx, aby, abz = triangles[index, 3], triangles[index, 4], triangles[index, 5]
    acx, acy, acz = triangles[index, 6], triangles[index, 7], triangles[index, 8]
    px, py, pz = x - triangles[index, 0], y - triangles[index, 1], z - triangles[index, 2]
    d1 = abx * px + aby * py + abz * pz
    d2 = acx * px + acy * py + acz * pz
    bb = abx * abx + aby * aby + abz * abz
    bc = abx * acx + aby * acy + abz * acz
    cc = acx * acx + acy * acy + acz * acz
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
    px -= s * abx + t * acx
    py -= s * aby + t * acy
    pz -= s * abz + t * acz
    return px * px + py * py + pz * pz


@kernel
def _cells_beside(corner, edge_one, edge_two, origin, pitch, count):
    low = corner + min(0.0, edge_one, edge_two)
    high = corner + max(0.0, edge_one, edge_two)
    first = max(0, math.floor((low - origin) / pitch) - 1)
    last = min(count - 1, math.ceil((high - origin) / pitch) + 1)
    return first, last


@kernel
def scatter(triangles, origin, pitch, squared, closest):
    """Put every triangle's squared distance onto the grid points within a cell of its box."""
    nz, ny, nx = squared.shape
    for q in range(triangles.shape[0]):
        i0, i1 = _cells_beside(triangles[q, 0], triangles[q, 3], triangles[q, 6], origin[0], pitch, nx)
        j0, j1 = _cells_beside(triangles[q, 1], triangles[q, 4], triangles[q, 7], origin[1], pitch, ny)
        k0, k1 = _cells_beside(triangles[q, 2], triangles[q, 5], triangles[q, 8], origin[2], pitch, nz)
        for k in range(k0, k1 + 1):
            z = origin[2] + k * pitch
            for j in range(j0, j1 + 1):
                y = origin[1] + j * pitch
                for i in range(i0, i1 + 1):
                    d = squared_distance_to_triangle(origin[0] + i * pitch, y, z, triangles, q)
                    if d < squared[k, j, i]:
                        squared[k, j, i] = d
                        closest[k, j, i] = q


@kernel
def sweep(triangles, origin, pitch, squared, closest, limit, direction):
    """Offer each grid point the closest triangles of its seven upwind neighbours, diagonal ones too.

    `direction` 0..7 holds one bit an axis; neighbours farther than `limit` (squared) offer nothing.
    """
    nz, ny, nx = squared.shape
    sk = 1 if direction & 1 else -1
    sj = 1 if direction & 2 else -1
    si = 1 if direction & 4 else -1
    # Within a cell of the surface the scatter has already asked every triangle that could be closest.
    settled = pitch * pitch
    for kk in range(nz):
        k = kk if sk > 0 else nz - 1 - kk
        for jj in range(ny):
            j = jj if sj > 0 else ny - 1 - jj
            for ii in range(nx):
                i = ii if si > 0 else nx - 1 - ii
                best, holder = squared[k, j, i], closest[k, j, i]
                if best <= settled:
                    continue
                x, y, z = origin[0] + i * pitch, origin[1] + j * pitch, origin[2] + k * pitch
                seen, seen_before, seen_first = holder, holder, holder
                for neighbour in range(1, 8):
                    kn = k - sk if neighbour & 1 else k
                    jn = j - sj if neighbour & 2 else j
                    n = i - si if neighbour & 4 else i
                    if kn < 0 or kn >= nz or jn < 0 or jn >= ny or n < 0 or n >= nx:
                        continue
                    if squared[kn, jn, n] > limit:
                        continue
                    offer = closest[kn, jn, n]
                    if offer in (holder, seen, seen_before, seen_first):
                        continue
                    seen_first, seen_before, seen = seen_before, seen, offer
                    d = squared_distance_to_triangle(x, y, z, triangles, offer)
                    if d < best:
                        best, holder = d, offer
                squared[k, j, i], closest[k, j, i] = best, holder


def triangle_rows(vertices, faces):
    """Return (m, 9): first corner and the two edges from it."""
    first, second, third = (vertices[faces[:, corner]] for corner in range(3))
    return np.ascontiguousarray(np.hstack([first, second - first, third - first]), dtype=float)


def unsigned_distance(triangles, *, origin, pitch, shape, reach=REACH):
    """Return the distance (nz, ny, nx) of grid points to triangles, at most `reach`. [mm]

    Exact wherever the closest triangle is handed on without a break; measured beside exact closest points
    on vertebrae at 0.8 mm pitch: rms 0.002, largest error 0.037 mm.
    """
    squared = np.full(shape, FAR, np.float32)
    closest = np.full(shape, -1, np.int32)
    origin = np.asarray(origin, float)
    scatter(triangles, origin, float(pitch), squared, closest)
    limit = (reach + 0.5 * pitch) ** 2
    for direction in range(8):
        sweep(triangles, origin, float(pitch), squared, closest, limit, direction)
    return np.minimum(np.sqrt(squared), np.float32(reach))


def half_grid(vertices, faces, field, *, origin, pitch, reach=REACH):
    """Return the signed distance (nz, ny, nx) float32 on the half grid x >= 0 of a mirrored mesh.

    Parameters
    ----------
    vertices, faces : (n, 3) float, (m, 3) int
        Closed mesh, symmetric in x = 0. [mm]
    field : (nz, ny, nx) float
        Any field on the same half grid, negative inside: it only lends its sign.
    origin : (3,) float
        First grid point; its x is 0. [mm]
    """
    beside = vertices[faces][:, :, 0].max(axis=1) > -1.5 * pitch
    distance = unsigned_distance(
        triangle_rows(vertices, faces[beside]), origin=origin, pitch=pitch, shape=field.shape, reach=reach
    )
    return np.copysign(distance, field).astype(np.float32)


def mirrored(half, out=None):
    """Return the whole grid (nz, ny, 2 nx - 1) of a half grid, written into `out` where given."""
    nz, ny, nx = half.shape
    whole = np.empty((nz, ny, 2 * nx - 1), half.dtype) if out is None else out
    whole[:, :, nx - 1 :] = half
    whole[:, :, : nx - 1] = half[:, :, :0:-1]
    return whole
