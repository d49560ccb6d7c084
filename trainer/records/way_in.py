"""The way in as a drawing: the bones in relief, the ideal corridor, and what was done.

The relief is the outermost surface of each bone in steps of a millimetre, lit from the upper left.
"""

import numpy as np
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from scipy.ndimage import grey_closing
from scipy.spatial import ConvexHull

from meshes.levels import COLUMN, split_interspace
from trainer.physics.corridor import corridor
from trainer.physics.corridor_ghost import ghost_mesh
from trainer.physics.needle import Needle
from trainer.records.figures import CONTACT, LEAD, NEEDLE, plain_axes, png_bytes

CORRIDOR = "#0b7a55"
STEP = 1.0  # [mm]
SUN = np.array([-0.45, 0.55, 0.70])
# Columns of the patient's frame that a panel shows across and up, which way it looks, and its words.
BEHIND = (0, 2, 1, "From behind", "left  ←  mm  →  right")
SIDE = (1, 2, 0, "From the patient's left", "front  ←  mm  →  back")
BONES = ListedColormap(np.linspace([0.52, 0.45, 0.33], [0.98, 0.95, 0.88], 64))


def planned_corridor(state):
    """Return the CorridorMap of the plan's interspace, side and needle; of the case's before a plan."""
    plan, task = state.plan, state.scenario.task
    return corridor(
        state.anatomy,
        plan.interspace or task.interspace,
        side=plan.side or task.side,
        needle=Needle(length=plan.needle_length or task.needle_lengths_mm[-1]),
    )


def ideal_corridor(state):
    """Return the hull (vertices (n, 3) [mm], faces) of the needles that serve the plan's lead, or None."""
    return ghost_mesh(planned_corridor(state))


def hull_outline(points):
    """Return the corners (k, 2) round points (n, 2), in order."""
    return points[ConvexHull(points).vertices]


def way_in(state, hull):
    """Draw where the needle and the lead went beside where they should have gone; returns PNG bytes.

    Parameters
    ----------
    state : AttemptState
    hull : (vertices, faces) or None
        Of `ideal_corridor`.
    """
    figure = Figure(figsize=(10.4, 7.2), layout="constrained")
    panels = figure.subplots(1, 2, sharey=True)
    vertices = _bones_shown(state)
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    lowest = low if hull is None else float(hull[0][:, 2].min()) - 2.0
    for axes, view in zip(panels, (BEHIND, SIDE), strict=True):
        *_, title, words = view
        _relief(axes, vertices, view)
        if hull is not None:
            outline = hull_outline(_seen(hull[0], view))
            axes.add_patch(Polygon(outline, facecolor=CORRIDOR, edgecolor=CORRIDOR, alpha=0.28, linewidth=0))
            axes.add_patch(Polygon(outline, fill=False, edgecolor=CORRIDOR, linewidth=1.6))
        for placement in state.placements:
            _needle(axes, placement, view)
            _lead(axes, placement, view)
        axes.set_aspect("equal")
        axes.set_ylim(min(low, lowest), high)
        plain_axes(axes, title=title, across=words, up="along the body, mm" if view is BEHIND else "")
    return png_bytes(figure)


def _bones_shown(state):
    """Return the vertices (n, 3) of the bones from below the entry to above the target."""
    task, anatomy = state.scenario.task, state.anatomy
    levels = COLUMN[::-1]
    first = levels.index(split_interspace(state.plan.interspace or task.interspace)[1])
    last = levels.index(state.plan.target_level or task.target_level)
    shown = levels[max(first - 1, 0) : last + 2]
    return np.concatenate([anatomy.bone_meshes[level][0] for level in shown])


def _seen(points, view):
    """Return points (n, 3) as (n, 2) on the paper; from behind, the patient's left lies on the left."""
    across, up, _, _, _ = view
    flat = points[:, [across, up]].copy()
    if across == 0:
        flat[:, 0] *= -1.0
    return flat


def _relief(axes, vertices, view):
    """Paint the nearest surface of all bones, lit."""
    flat, height = _seen(vertices, view), vertices[:, view[2]]
    origin = np.floor(flat.min(axis=0))
    cells = ((flat - origin) / STEP).astype(int)
    columns, rows = cells.max(axis=0) + 1
    surface = np.full((rows, columns), -np.inf)
    np.maximum.at(surface, (cells[:, 1], cells[:, 0]), height)
    there = np.isfinite(surface)
    base = float(height.min())
    surface = grey_closing(np.where(there, surface, base), size=3)
    there = surface > base + 1e-9
    rise, run = np.gradient(surface, STEP)
    normal = np.stack([-run, -rise, np.ones_like(run)], axis=-1)
    light = normal @ (SUN / np.linalg.norm(SUN)) / np.linalg.norm(normal, axis=-1)
    extent = (origin[0], origin[0] + columns * STEP, origin[1], origin[1] + rows * STEP)
    axes.imshow(
        np.where(there, light, np.nan), origin="lower", extent=extent, cmap=BONES, vmin=-0.3, vmax=1.0,
        interpolation="bilinear",
    )  # fmt: skip


def _needle(axes, placement, view):
    if placement.check is None:
        return
    check = placement.check
    inside = placement.depth if placement.depth is not None else check.to_epidural
    ends = check.entry + np.outer([-30.0, inside if np.isfinite(inside) else 40.0], check.direction)
    drawn = "-" if placement.depth is not None else (0, (5, 3))
    axes.plot(*_seen(ends, view).T, color=NEEDLE, linewidth=2.4, linestyle=drawn)
    axes.plot(*_seen(check.entry[None], view).T, "o", color=NEEDLE, markersize=4)


def _lead(axes, placement, view):
    if placement.lead is None:
        return
    nodes = placement.lead.nodes[1:]
    axes.plot(*_seen(nodes, view).T, color=CONTACT, linewidth=3.4)
    axes.plot(*_seen(nodes, view).T, color=LEAD, linewidth=2.0)
