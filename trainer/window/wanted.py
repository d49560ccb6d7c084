"""What is wanted of the needle's approach, and the goal of the lead. No Qt here."""

import numpy as np

from trainer.physics.needle import side_sign

HALF_WIDTH = 3.0  # [mm] of the goal (common practice)
GOAL_LENGTH = 53.0  # [mm] over which the contacts shall lie dorsal


def wanted_approaches(found):
    """Return the flattest and steepest approach [rad] of the needles that serve the lead, or None."""
    which = found.serving.any(axis=(0, 1, 3))
    if not which.any():
        return None
    return float(found.approach[which].min()), float(found.approach[which].max())


def goal_corners(state):
    """Return points (n, 3) round the goal of the lead: below the top of the target body. [mm]"""
    plan, task, canal = state.plan, state.scenario.task, state.anatomy.canal
    target = plan.target_level or task.target_level
    top = next(top for level, _, top in canal.level_spans if level == target)
    sign = side_sign(plan.side or task.side)
    offset = sign * task.target_offset_mm
    stations = np.linspace(top - GOAL_LENGTH, top, 8)
    corners = []
    for station in stations:
        centre, _, left, dorsal = canal.frame_at(float(station))
        roof = float(canal.dura[np.argmin(np.abs(canal.u - station)), 0])
        corners += [centre + roof * dorsal + (offset + side * HALF_WIDTH) * left for side in (1.0, -1.0)]
    return np.array(corners)
