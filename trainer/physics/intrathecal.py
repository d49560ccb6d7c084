"""A lead that went through a puncture of the dura: it lies in fluid between dura and cord.

It moves too freely: next to no friction, no fat that keeps its track, and no dura that presses it. The walls
are the dura from inside, and the cord where the sac's centre lies in it; roots in the fluid are not felt.
"""

from dataclasses import replace

import numpy as np

from meshes.canal_bake import surface_coefficients
from meshes.tables.loader import number
from trainer.physics.lead import insert_lead

# Where the cord does not hold the sac's centre nothing stands in the way but this. [mm]
LEAST_CORD = 0.3


def inside_dura(canal):
    """Return the CanalChart of the room between dura and cord; stations, sides and read-outs are the same."""
    scale = np.full_like(canal.friction_scale, number("lead", "intrathecal.friction"))
    scale /= number("lead", "tissue.wall_friction")
    turn = 2.0 * np.pi / len(canal.theta)
    cord = np.maximum(canal.cord, LEAST_CORD)
    return replace(
        canal,
        surface_coefficients=surface_coefficients(canal.dura, cord, turn=turn),
        friction_scale=scale,
        memory_scale=np.zeros_like(canal.memory_scale),
    )


def insert_intrathecal(canal, mouth, properties=None, *, limits=None):
    """Return a lead that looks out of a mouth inside the dura; arguments and errors as `insert_lead`.

    Raises
    ------
    ValueError
        Also if the mouth lies outside the dura.
    """
    u, theta, r = canal.to_chart(mouth.point)
    dura = float(canal.radii(u, theta)[2])
    if r >= dura:
        raise ValueError(
            f"mouth must lie inside the dura, {dura:.1f} mm from the sac's centre, got {r:.1f}: "
            "insert an epidural lead instead"
        )
    return insert_lead(inside_dura(canal), mouth, properties, limits=limits, intrathecal=True)
