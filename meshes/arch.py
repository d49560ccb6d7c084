"""The posterior elements of a vertebra as rows: pedicles, transverse and articular processes, laminae, spine.

Where a capsule sits and how it blends is drawn by hand against real bones; its sizes are those of the tables.
Thoracic bones have ears and flat shields, lumbar ones legs and hatchets; T12 has the lumbar kind of roof on
the thoracic kind of root.
"""

from dataclasses import dataclass

import numpy as np

from meshes.frames import unit
from meshes.primitives import CUT
from meshes.rows import blade_row, capsule_pair, lamina_row

# Half width of the roof at its isthmus, and the lateral place where the pars meets it. [mm]
ISTHMUS = {"T12": 9.0, "L1": 8.4, "L2": 9.0, "L3": 10.6, "L4": 13.0, "L5": 16.0}
PARS = {"L1": 7.6, "L2": 8.2, "L3": 9.8, "L4": 12.0, "L5": 15.0}
# Lateral place of the tip of the inferior articular process. [mm]
INFERIOR_TIP = {"T12": 10.0, "L1": 10.3, "L2": 11.6, "L3": 13.4, "L4": 16.4, "L5": 19.0}


@dataclass(frozen=True)
class Pedicle:
    """Where the pedicles stand: lateral place, height and the y at which they end. [mm]"""

    x: float
    z: float
    back: float

    @property
    def end(self):
        return np.array([self.x, self.back, self.z])


def isthmus_of(numbers):
    """Return the half width of a lumbar roof at its isthmus. [mm]"""
    return ISTHMUS[numbers.level] * numbers.width_scale


def joint_below(numbers):
    """Return the lateral place of the lower articular processes. [mm]"""
    if numbers.lumbar_like:
        return INFERIOR_TIP[numbers.level] * numbers.width_scale
    return 0.5 * numbers["facet_distance"]


def roof_between_joints(numbers):
    """Return how far to the side the roof can be taken and leave the pars and the joints. [mm]"""
    if numbers.lumbar_like:
        return PARS.get(numbers.level, 9.6) * numbers.width_scale - 1.0
    return joint_below(numbers) - 3.4


def _from(point, *shift):
    return point + np.array(shift)


def pedicle_of(numbers):
    """Return the `Pedicle` of a bone."""
    transition = {"T11": 0.35, "T12": 0.6}.get(numbers.level, 1.0 if numbers.lumbar else 0.0)
    # High thoracic pedicles leave room for the ears of the bone below.
    raised = 1.6 if not numbers.lumbar and numbers.number <= 10 else 0.0
    return Pedicle(
        x=0.5 * (numbers["canal_width"] + numbers["pedicle_width"]),
        z=0.5 * numbers.posterior_height
        - 0.5 * numbers["pedicle_height"]
        - (1.0 if numbers.lumbar else 0.6)
        + raised,
        back=numbers.posterior_wall + 7.5 + transition,
    )


def pedicle_rows(numbers, foot):
    """Return both pedicles: the waist is in the middle, the flare at the ends comes from the blends."""
    width, height = 0.5 * numbers["pedicle_width"], 0.5 * numbers["pedicle_height"]
    spread = 2.5 if numbers.level == "L5" else 0.5
    return capsule_pair(
        (foot.x - 0.6, numbers.posterior_wall - 5.0, foot.z),
        (foot.x + spread, foot.back, foot.z - 0.3),
        sizes=(width, height),
        end_sizes=(width, 0.97 * height),
        rounding=width,
        blend=3.5,
    )


def transverse_tip(numbers):
    """Return the tip of the left transverse process (3,). [mm]"""
    x, y = 0.5 * numbers["transverse_span"], numbers.posterior_wall + numbers["transverse_tip_behind"]
    return np.array([x, y, 0.5 * numbers.posterior_height + numbers["transverse_tip_height"]])


def transverse_rows(numbers, foot):
    """Return both transverse processes."""
    tip = transverse_tip(numbers)
    if numbers.lumbar:
        return _lumbar_transverse(numbers, foot, tip=tip)
    return _thoracic_transverse(foot, tip) if numbers.number <= 10 else _junction_transverse(foot, tip)


def _lumbar_transverse(numbers, foot, *, tip):
    stout = numbers.level == "L5"
    root = foot.end
    if numbers.sacralised:
        return _sacral_wing(root, tip)
    process = capsule_pair(
        _from(root, 2.5, 1.0, -3.0),
        _from(tip, -4.0, -1.2, 0.3),
        sizes=(4.6, 7.0) if stout else (2.8, 5.4),
        end_sizes=(2.2, 4.4) if stout else (1.6, 3.7),
        up=(0, 0.15, 1),
        rounding=5.0,
        blend=4.5,
        bow=-1.5,
    )
    accessory = capsule_pair(_from(root, 4.0, 3.0, -5.5), _from(root, 5.0, 5.0, -8.0), sizes=(2.0, 2.0))
    return *process, *accessory


def _sacral_wing(root, tip):
    """Return broad transverse processes that come down on the wings of the sacrum and form a joint there."""
    shelf = capsule_pair(
        _from(root, 2.0, -1.0, -4.0),
        _from(tip, -5.0, -5.0, -6.0),
        sizes=(5.5, 8.0),
        end_sizes=(5.0, 8.0),
        rounding=5.0,
        blend=5.0,
    )
    # The foot runs a little into the sacrum: both give way to each other, which makes the faces of the joint.
    foot = capsule_pair(
        _from(tip, -13.0, -7.0, -6.0),
        _from(tip, -9.0, -14.0, -22.5),
        sizes=(9.0, 6.0),
        end_sizes=(10.0, 7.0),
        up=(0, 1, 0),
        rounding=5.0,
        blend=6.0,
    )
    return *shelf, *foot


def _thoracic_transverse(foot, tip):
    """Return flat clubs: tall at the root, turned up at the end, a facet for the rib in front."""
    root = _from(foot.end, 0.5, 3.6, 0.4)
    shaft = capsule_pair(
        root, _from(tip, -3.8, -3.2, 0.3), sizes=(3.4, 6.2), end_sizes=(2.4, 3.6), rounding=3.4, blend=5.0
    )
    club = capsule_pair(
        _from(tip, -5.6, -4.2, -2.2),
        _from(tip, -3.2, -2.4, 2.4),
        sizes=(2.6, 3.2),
        end_sizes=(2.4, 3.4),
        up=(1, 0.8, 0),
        rounding=3.2,
        blend=3.0,
    )
    return *shaft, *club


def _junction_transverse(foot, tip):
    root = _from(foot.end, 1.0, 1.5, -1.5)
    return (
        *capsule_pair(
            root, _from(tip, -3.5, -4.0, 0.0), sizes=(4.2, 5.6), end_sizes=(3.4, 4.2), rounding=4.0, blend=4.0
        ),
        *capsule_pair(_from(tip, -4.0, -2.5, 2.0), _from(tip, -3.2, -1.5, 4.0), sizes=(2.4, 2.4)),
        *capsule_pair(_from(tip, -4.0, -4.0, -4.0), _from(tip, -3.0, -3.6, -6.5), sizes=(2.4, 2.4)),
    )


def superior_rows(numbers, foot, *, edges):
    """Return both superior articular processes, which grow thicker with facet hypertrophy."""
    thick = 1.0 + 0.4 * numbers.superior_hypertrophy
    top = 0.5 * numbers.posterior_height + numbers["superior_process_reach"]
    if numbers.lumbar:
        return _lumbar_superior(numbers, foot, edges=edges, thick=thick, top=top)
    return _thoracic_superior(numbers, foot, edges=edges, thick=thick, top=top)


def _lumbar_superior(numbers, foot, *, edges, thick, top):
    x = 0.5 * numbers["facet_distance"] + 4.6 - 0.8 * numbers.superior_hypertrophy
    y = max(foot.back + 9.0, edges.top(12.0)[0] + 1.0)
    angle = numbers["facet_angle"]
    ear = capsule_pair(
        (foot.x + 1.2, foot.back + 1.0, foot.z + 1.0),
        (x + 0.4, y - 1.6, top - 5.5),
        sizes=(4.4, 6.4),
        end_sizes=(3.1 * thick, 7.2 * thick),
        up=(np.sin(angle), np.cos(angle), 0.0),
        rounding=6.0,
        blend=3.5,
    )
    mamillary = capsule_pair(
        (x + 1.6, y + 1.8, top - 13.0),
        (x + 1.4, y + 3.0, top - 5.5),
        sizes=(2.4 * thick, 3.2 * thick),
        end_sizes=(2.2 * thick, 2.8 * thick),
        up=(0, 1, 0.3),
        rounding=3.4,
        blend=5.0,
    )
    return *ear, *mamillary


def _thoracic_superior(numbers, foot, *, edges, thick, top):
    x, y = 0.5 * numbers["facet_distance"] + 0.3, numbers.posterior_wall + 11.0
    ear = capsule_pair(
        (foot.x + 0.6, foot.back - 0.5, foot.z + 1.0),
        (x - 0.2, y, top - 6.0),
        sizes=(5.8, 3.4),
        end_sizes=(4.7 * thick, 2.15 * thick),
        up=(0.7 * np.tan(0.6 * numbers["facet_angle"]), 1, 0.25),
        rounding=5.4,
    )
    bridge = capsule_pair(
        (foot.x + 0.6, foot.back + 2.0, foot.z - 1.0),
        (x - 0.5, edges.top(10.0)[0] + 0.5, edges.top(9.0)[1] - 2.0),
        sizes=(4.6, 4.2),
        end_sizes=(4.0, 3.0),
        up=(0, 1, 0),
    )
    return *ear, *bridge


def roof_rows(numbers, foot, *, edges, sound):
    """Return the laminae and the pars on both sides; the pars hangs on the lamina without thick facets."""
    if numbers.lumbar_like:
        half_width, flares, blend = isthmus_of(numbers), (3.5, 6.0), 3.0
    else:
        half_width, flares, blend = 13.4 * numbers.width_scale, (0.5, 5.0), 5.0
    down, up = flares
    shape = {"half_width": half_width, "flare_down": down, "flare_up": up, "isthmus_shift": 1.0}
    return lamina_row(edges, **shape, side_blend=5.0, blend=blend), *_pars_rows(numbers, foot, edges=sound)


def _pars_rows(numbers, foot, *, edges):
    x = PARS.get(numbers.level, 9.6) * numbers.width_scale
    y, z = edges.between(min(x, 11.5), 0.45)
    shape = {"up": (0, 0.35, 1), "blend": 4.0}
    if numbers.lumbar_like:
        start = (foot.x + 0.2, foot.back, foot.z - 1.0)
        return capsule_pair(start, (x, y, z), sizes=(3.4, 5.0), end_sizes=(2.8, 5.2), **shape)
    # Slim and high: a notch for the ear of the bone below.
    start, end = (foot.x + 0.2, foot.back + 1.5, foot.z + 1.2), (x, y + 1.0, z + 2.0)
    return capsule_pair(start, end, sizes=(2.8, 3.4), end_sizes=(2.4, 4.2), **shape)


def roof_hollows(numbers, edges):
    """Return the hollows of a lumbar roof between spine and joint, as cuts; none on a thoracic one."""
    if not numbers.lumbar_like:
        return ()
    x = min(0.62 * isthmus_of(numbers), 8.0)
    radius = 8.0
    upper, lower = (np.array([x + shift, *edges.between(x, at)]) for shift, at in ((0.0, 0.36), (0.8, 0.66)))
    # Square to the plate, which also leans sideways; deep enough to show, not to thin the plate.
    outward = unit(np.array([4.0, upper[2] - lower[2], lower[1] - upper[1]]))
    away = (radius + 0.66 * edges.middle_radius) * outward
    return capsule_pair(
        upper + away,
        lower + away,
        sizes=(radius, radius),
        up=(0, 1, 0.3),
        rounding=radius,
        operation=CUT,
        blend=1.2,
    )


def inferior_rows(numbers, edges, *, sound):
    """Return (rows, stand-ins) of both inferior articular processes, which spring from the `sound` lamina.

    The stand-ins are what the bone below keeps clear of: plumper than the rows where the joint is.
    """
    thick = 1.0 + 0.4 * numbers.inferior_hypertrophy
    lowest = -0.5 * numbers.posterior_height - numbers["inferior_process_reach"]
    if numbers.lumbar_like:
        return _lumbar_inferior(numbers, edges, sound=sound, thick=thick, lowest=lowest)
    return _thoracic_inferior(numbers, edges, sound=sound, thick=thick, lowest=lowest)


def _lumbar_inferior(numbers, edges, *, sound, thick, lowest):
    isthmus = isthmus_of(numbers)
    x = INFERIOR_TIP[numbers.level] * numbers.width_scale - 2.4 * numbers.inferior_hypertrophy
    y = edges.bottom(min(x, 11.0))[0]
    up = (0.35, 1, 0)
    leg = capsule_pair(
        (isthmus - 1.0, sound.between(min(isthmus, 10.0), 0.42)[0], sound.between(10.0, 0.42)[1]),
        (x + 0.4, y - 0.6, lowest + 3.8),
        sizes=(2.8, 3.4),
        end_sizes=(3.3 * thick, 3.7 * thick),
        up=up,
        rounding=4.2,
        blend=4.0,
    )
    stand_in = capsule_pair(
        (x + 0.8, y - 0.8, -0.5 * numbers.posterior_height - 1.0),
        (x, y - 0.8, lowest + 3.6),
        sizes=(3.5 * thick, 4.1 * thick),
        end_sizes=(3.1 * thick, 3.6 * thick),
        up=up,
        rounding=3.8,
        blend=2.0,
    )
    return leg, stand_in


def _thoracic_inferior(numbers, edges, *, sound, thick, lowest):
    x = 0.5 * numbers["facet_distance"] + 0.4
    z = max(lowest, edges.bottom(8.0)[1] - edges.bottom_radius - 0.9)
    start, y = sound.between(x, 0.55), edges.bottom(x)[0] - 0.4
    up = (0.3, 1, 0)
    tongue = capsule_pair(
        (x + 0.3, *start),
        (x - 0.3, y, z + 3.0),
        sizes=(4.0 * thick, 2.5),
        end_sizes=(3.7 * thick, 2.0 * thick),
        up=up,
        rounding=3.4,
        blend=4.0,
    )
    stand_in = capsule_pair(
        (x + 0.3, *start),
        (x, y, z + 1.5),
        sizes=(5.0, 2.8),
        end_sizes=(4.6, 2.2),
        up=up,
        rounding=2.6,
        blend=2.0,
    )
    return tongue, stand_in


def spinous_tip(numbers):
    """Return (y, z) of the tip of the spinous process. [mm]"""
    back = numbers["spinous_length"] * np.cos(numbers["spinous_angle"])
    return np.array(
        [
            numbers.posterior_wall + numbers["canal_depth"] + back,
            -0.5 * numbers.posterior_height - numbers["spinous_tip_drop"],
        ]
    )


def spinous_row(numbers, edges):
    """Return the spinous process: between both edges of the lamina at its root, out to the tip."""
    tip = spinous_tip(numbers)
    # A low lamina, that of L5, carries the root of its spine right up to its rim.
    low = min((edges.top_z[0] - edges.bottom_z[0]) / 12.0, 1.0) ** 2
    upper = np.array([edges.top_y[0] + edges.top_radius + 0.6, edges.top_z[0] - 2.5 * low])
    lower = np.array([edges.bottom_y[0] + 0.2, edges.bottom_z[0] + 2.8])
    axis = tip - 0.5 * (upper + lower)
    axis = axis / np.linalg.norm(axis)
    up = np.array([-axis[1], axis[0]])
    make = _hatchet if numbers.lumbar_like else _long_spine
    return make(upper, lower, tip=tip, axis=axis, up=up * np.sign(up[1]), height=numbers["spinous_height"])


def _hatchet(upper, lower, *, tip, axis, up, height):
    """Return a hatchet with a sagging upper border, a knob at the end and a hollow lower border."""
    rounding = 3.4
    half = 0.5 * height - rounding
    steep = np.array([0.22, 0.98]) / np.hypot(0.22, 0.98)
    upper_tip = tip + 0.66 * half * steep - 5.2 * axis
    lower_tip = tip - 1.1 * half * steep - (rounding - 0.2) * axis
    # Low hatchets sag less: that of T12 shuts the midline above L1 to a shallow needle.
    sag = 0.15 * (height - 12.0)
    upper_middle = _from(0.45 * upper + 0.55 * upper_tip, 0.0, -max(sag, 0.0))
    lower_middle = 0.52 * lower + 0.48 * lower_tip + min(2.6, 0.26 * (height - 10.0)) * up
    corners = upper, upper_middle, upper_tip, lower_tip, lower_middle, lower
    widths = (3.0, 2.1, 3.8)
    return blade_row(corners, rounding=rounding, half_widths=widths, thin_top=0.62, side_blend=3.6, blend=5.0)


def _long_spine(upper, lower, *, tip, axis, up, height):
    rounding = 1.6
    half = 0.5 * height - rounding
    upper_tip = tip + 0.75 * half * up - 2.2 * axis
    lower_tip = tip - 0.75 * half * up - rounding * axis
    upper_middle = 0.5 * (upper + upper_tip) + 0.8 * up
    lower_middle = 0.5 * (lower + lower_tip) - 0.2 * up
    corners = upper, upper_middle, upper_tip, lower_tip, lower_middle, lower
    widths = (3.2, 1.8, 2.3)
    return blade_row(corners, rounding=rounding, half_widths=widths, thin_top=0.45, side_blend=2.2, blend=6.0)
