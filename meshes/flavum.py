"""The ligamentum flavum of every interspace as a closed mesh, read off the canal chart."""

import numpy as np

from meshes.tables.loader import number
from meshes.units import radians

SPACING = 0.5  # [mm] along the canal
HALF_SECTOR = radians(62.0)  # to either side of the midline
ANGLES = 49
TUCK = 0.12  # [mm] kept between the ligament and bone
THINNEST = 0.2  # [mm]


def _table(canal, table, u, theta):
    """Return a table of radii (n, m) of the chart at stations u (k,) and angles theta (j,)."""
    columns = np.linspace(0.0, 2.0 * np.pi, table.shape[1], endpoint=False)
    rows = np.array([np.interp(u, canal.u, table[:, j]) for j in range(table.shape[1])])
    wrapped = np.vstack([rows, rows[:1]])
    columns = np.append(columns, 2.0 * np.pi)
    return np.array([np.interp(theta % (2.0 * np.pi), columns, wrapped[:, i]) for i in range(u.size)])


def flavum_surfaces(canal, interspace, *, first=-HALF_SECTOR, last=HALF_SECTOR):
    """Return the front and the back (rows, angles, 3) of one ligament from angle `first` to `last`. [mm]

    The front is the wall of the canal. The back lies one thickness behind it, square to the wall, but
    never in bone: where the ligament takes hold of a lamina it tapers.
    """
    space = canal.interspace(interspace)
    count = int(np.ceil((space.flavum_cranial - space.flavum_caudal) / SPACING)) + 1
    u = np.linspace(space.flavum_caudal, space.flavum_cranial, count)
    columns = max(round(ANGLES * (last - first) / (2.0 * HALF_SECTOR)), 2)
    theta = np.linspace(first, last, columns)
    grid_u, grid_theta = np.meshgrid(u, theta, indexing="ij")
    front = np.asarray(canal.radii(grid_u, grid_theta)[3])
    by_u = np.gradient(front, u, axis=0)
    by_theta = np.gradient(front, theta, axis=1) / front
    thickness = np.interp(u, canal.u, canal.flavum_thickness)[:, None]
    back = front + thickness * np.sqrt(1.0 + by_u**2 + by_theta**2)
    bone = _table(canal, canal.bone_wall, u, theta)
    back = np.maximum(np.minimum(back, bone - TUCK), front + THINNEST)
    return canal.to_world(grid_u, grid_theta, front), canal.to_world(grid_u, grid_theta, back)


def closed_plate(front, back):
    """Return vertices, faces of the closed plate between two sheets (rows, columns, 3) of points.

    Rows run cranially, columns to the left; `back` lies behind `front`. Oriented outward.
    """
    rows, columns = front.shape[:2]
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    sheet = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    rim = np.concatenate([index[0, :-1], index[:-1, -1], index[-1, 1:][::-1], index[1:, 0][::-1]])
    following, behind = np.roll(rim, -1), rows * columns
    sides = np.concatenate(
        [
            np.stack([rim, rim + behind, following + behind], -1),
            np.stack([rim, following + behind, following], -1),
        ]
    )
    faces = np.concatenate([sheet, sheet[:, ::-1] + behind, sides])
    return np.concatenate([front.reshape(-1, 3), back.reshape(-1, 3)]), faces


def _sectors(canal, interspace):
    """Return (first, last) angles of the parts of a ligament: one, two beside a cleft, or what is left."""
    gone = canal.missing_flava.get(interspace)
    if gone == "both":
        return ()
    first = -HALF_SECTOR if gone != "right" else 0.0
    last = HALF_SECTOR if gone != "left" else 0.0
    if interspace not in canal.flavum_gaps:
        return ((first, last),)
    space = canal.interspace(interspace)
    cleft = 0.5 * number("flavum", "gap_width") / float(canal.radii(space.middle, 0.0)[3])
    parts = ((first, min(last, -cleft)), (max(first, cleft), last))
    return tuple((low, high) for low, high in parts if low < high)


def flavum_mesh(canal, interspace):
    """Return vertices, faces of one ligament: closed, in two bodies where it is parted on the midline. [mm]

    None where it has been removed.
    """
    parts = [
        closed_plate(*flavum_surfaces(canal, interspace, first=first, last=last))
        for first, last in _sectors(canal, interspace)
    ]
    if not parts:
        return None
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in parts)])
    faces = np.concatenate([faces + start for (_, faces), start in zip(parts, starts)])
    return np.concatenate([vertices for vertices, _ in parts]), faces


def flavum_meshes(anatomy):
    """Return {interspace: (vertices, faces)} of the ligaments that the canal chart covers. [mm]

    One plate an interspace, from the cranial edge of the lower lamina to the middle of the upper one; the
    joint capsules are not drawn. What surgery removed is left out.
    """
    meshes = {name: flavum_mesh(anatomy.canal, name) for name in anatomy.canal.interspaces}
    return {name: mesh for name, mesh in meshes.items() if mesh is not None}
