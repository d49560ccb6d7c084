"""Round things of a slice as chains of capsules: ribs, roots, and what lies in front of the spine.

Ribs and roots follow the anatomy's own lines. Vessels, kidneys, psoas and quadratus muscles are drawn for
orientation only, at places common to textbooks; nothing is measured on them.
"""

import numpy as np

from meshes.levels import LEVELS
from meshes.rib import LEFT, RIGHT, rib_attachments, rib_levels, rib_line
from meshes.roots import root_path, root_radius
from meshes.tables.loader import number
from trainer.physics import slice_tissues as t

# Beside this the cage is left to the lungs: only the spine is planned on. [mm]
RIB_REACH = 95.0
# A bundle of rootlets against the room that its root takes.
ROOT_SHARE = 0.62
SIDES = (LEFT, RIGHT)
# Angle from dorsal [rad], share of the sac's radius, radius [mm]. Prone they sink towards the front.
SACRAL_THREADS = ((2.95, 0.74, 0.6), (2.6, 0.5, 0.6), (2.3, 0.78, 0.65), (1.95, 0.58, 0.6))
SACRAL_DEPTHS = np.array([6.0, 0.0, -10.0, -20.0, -30.0])  # from the middle of S1
SAC_ENTERS = 5  # station at which the sac of the sacrum takes over from the chart
SACRAL_RADII = np.array([7.0, 6.6, 5.4, 3.6, 1.5])


def chain(points, radii, tissue):
    """Return capsules (n - 1, 9): both ends, both radii, the tissue."""
    points, radii = np.asarray(points, float), np.broadcast_to(radii, len(points)).astype(float)
    ends = np.column_stack([points[:-1], points[1:], radii[:-1], radii[1:]])
    return np.column_stack([ends, np.full(len(ends), float(tissue))])


def _ribs(anatomy):
    """Yield three chains a rib, one above the other: a shaft is higher than thick."""
    scale = anatomy.parameters.stature_scale
    high, thick = (0.5 * scale * number("rib", f"shaft_{key}") for key in ("height", "thickness"))
    for level in rib_levels(anatomy.parameters.rib_pairs):
        bone, pose = anatomy.bones[level], anatomy.poses[level]
        for side in SIDES:
            head, tubercle = rib_attachments(bone, side=side, scale=scale)
            line = rib_line(level, head=head, tubercle=tubercle, scale=scale) * [side, 1.0, 1.0]
            line = line[np.abs(line[:, 0]) < RIB_REACH]
            core = max(thick - scale * number("rib", "cortex"), 0.5)
            for radius, tissue in ((thick, t.CORTEX), (core, t.MARROW)):
                for lift in (-0.8, 0.0, 0.8):
                    yield chain(pose.apply(line + [0.0, 0.0, lift * (high - thick)]), radius, tissue)


def _roots(anatomy):
    for level in LEVELS:
        if level in anatomy.canal.levels:
            radius = anatomy.parameters.stature_scale * root_radius(level)
            for side in SIDES:
                path = root_path(anatomy, level, side)
                inside = len(path) // 2
                # A bundle of rootlets in the fluid, thicker with its sleeve outside.
                yield chain(path[: inside + 1], ROOT_SHARE * 0.6 * radius, t.ROOT)
                yield chain(path[inside:], ROOT_SHARE * radius * 1.3, t.ROOT)


def _sacral_roots(anatomy):
    """Yield the threads to the sacrum and the filum, from the conus to the end of the chart."""
    canal = anatomy.canal
    conus = canal.u[canal.cord_half_depth > 0.3][0]
    u = np.linspace(SAC_ENTERS + 1.0, conus + 6.0, 40)
    for angle, share, radius in SACRAL_THREADS:
        for side in SIDES:
            reach = share * canal.radii(u, side * angle)[2]
            wander = 0.22 * np.sin(u / 17.0 + 5.0 * angle + 0.8 * side)
            yield chain(canal.to_world(u, side * (angle + wander), reach), radius, t.ROOT)


def _sacral_sac(anatomy):
    """Yield the fat and the end of the sac in the sacral canal, which the chart does not reach."""
    shape, scale = anatomy.bones["S1"].shape, anatomy.parameters.stature_scale
    behind = shape.posterior_wall + 0.46 * shape.canal_depth
    places = np.column_stack([np.zeros(5), np.full(5, behind), SACRAL_DEPTHS]) * scale
    enters = anatomy.canal.centre[SAC_ENTERS]
    places = anatomy.poses["S1"].apply(places)
    beyond = places[:, 2] < enters[2] - 2.0
    line = np.vstack([enters, places[beyond]])
    radii = np.append(anatomy.canal.sac_depth[SAC_ENTERS], SACRAL_RADII[beyond] * scale)
    yield chain(line, radii + 3.5 * scale, t.EPIDURAL_FAT)
    yield chain(line, radii, t.FLUID)


def _before(anatomy, level, x, gap, z=0.0):
    """Return the point (3,) `gap` mm in front of a body, `x` to the left of its middle."""
    scale, shape = anatomy.parameters.stature_scale, anatomy.bones[level].shape
    return anatomy.poses[level].apply(scale * np.array([x, -0.5 * shape.body_depth - gap, z]))


def _vessels(anatomy):
    scale = anatomy.parameters.stature_scale
    aorta = [("T6", 20.0, 1.0), ("T7", 19.0, 3.0), ("T8", 17.0, 5.0), ("T9", 14.0, 8.0), ("T10", 10.0, 11.0)]
    aorta += [("T11", 7.0, 12.5), ("T12", 5.0, 13.0), ("L1", 5.0, 12.0), ("L2", 6.0, 11.5), ("L3", 6.0, 11.0)]
    aorta += [("L4", 4.0, 10.5)]
    line = np.array([_before(anatomy, *place) for place in aorta])
    yield chain(line, scale * np.linspace(11.5, 8.5, len(line)), t.BLOOD)
    cava = [
        ("L5", -6.0, 10.0),
        ("L4", -14.0, 9.5),
        ("L3", -15.0, 10.0),
        ("L2", -16.0, 11.0),
        ("L1", -18.0, 16.0),
    ]
    cava += [("T12", -20.0, 24.0), ("T11", -22.0, 34.0)]
    yield chain([_before(anatomy, *place) for place in cava], scale * 9.0, t.BLOOD)
    for side, first in ((1.0, ("L4", 4.0, 10.5)), (-1.0, ("L5", -6.0, 10.0))):
        places = [
            first,
            ("L5", side * 19.0, 9.0),
            ("S1", side * 34.0, 4.0, -8.0),
            ("S1", side * 52.0, 2.0, -34.0),
        ]
        yield chain([_before(anatomy, *place) for place in places], scale * 5.5, t.BLOOD)
    azygos = [_before(anatomy, level, -8.0, 4.5) for level in ("T6", "T8", "T10", "T12")]
    yield chain(azygos, scale * 3.0, t.BLOOD)
    gullet = [_before(anatomy, *p) for p in (("T6", -2.0, 13.0), ("T8", 1.0, 18.0), ("T10", 6.0, 28.0))]
    yield chain(gullet, scale * 6.5, t.MUSCLE)


def _beside(anatomy, level, side, x, back, z=0.0):
    scale = anatomy.parameters.stature_scale
    return anatomy.poses[level].apply(scale * np.array([side * x, back, z]))


def _muscles_and_kidneys(anatomy):
    scale = anatomy.parameters.stature_scale
    psoas = [
        ("T12", 23.0, 8.0, -14.0),
        ("L1", 29.0, 5.0),
        ("L2", 35.0, 4.0),
        ("L3", 41.0, 2.0),
        ("L4", 47.0, -2.0),
    ]
    psoas += [("L5", 54.0, -12.0), ("S1", 64.0, -34.0)]
    radii = scale * np.array([4.0, 9.0, 13.0, 17.0, 20.0, 20.0, 17.0])
    quadratus = [("T12", 54.0, 26.0, -8.0), ("L2", 62.0, 26.0), ("L4", 74.0, 30.0)]
    kidney = [("T12", 55.0, 2.0, 0.0), ("L1", 60.0, 0.0, 0.0), ("L2", 66.0, -2.0, -2.0)]
    for side in SIDES:
        # Deeper than wide: two strands side by side.
        for share, shift, back in ((0.8, -3.0, 5.0), (0.9, 1.0, -5.0)):
            line = [_beside(anatomy, name, side, x + shift, y + back, *z) for name, x, y, *z in psoas]
            yield chain(line, share * radii, t.MUSCLE)
        yield chain(
            [_beside(anatomy, p[0], side, *p[1:]) for p in quadratus],
            scale * np.array([6.0, 9.0, 12.0]),
            t.MUSCLE,
        )
        line = np.array([_beside(anatomy, p[0], side, *p[1:]) for p in kidney])
        yield chain(line, scale * 24.0, t.KIDNEY)
        # The hollow of the kidney faces the spine.
        yield chain(line[:2] * 0.5 + line[1:] * 0.5 - [side * 15.0 * scale, 0.0, 0.0], scale * 10.0, t.FAT)


def capsules(anatomy):
    """Return capsules (n, 9) of an anatomy: ends and radii [mm], tissue; the last holding a point counts."""
    parts = (_muscles_and_kidneys, _vessels, _sacral_sac, _roots, _sacral_roots, _ribs)
    return np.vstack([piece for part in parts for piece in part(anatomy)])
