"""What is not bone on an X-ray: skin, lungs, gas in the bowel, psoas and kidneys in their fat, the table.

Drawn, not measured: enough to know where one looks, and to be in the way as it is in a patient.
"""

import numpy as np
import trimesh

from meshes.cortex import smooth_noise
from meshes.swept import swept_solid
from meshes.tables.loader import number
from trainer.physics.xray_materials import attenuation, step
from trainer.physics.xray_surfaces import Surfaces, join_surfaces

# Half axes and places of the lungs. [mm]
LUNG_HALF_AXES = (47.0, 62.0, 112.0)
LUNG_CENTRE = (76.0, -38.0, 74.0)  # from the body of T9
SIDES = (1.0, -1.0)
# How far the trunk goes on above and below its modelled part. [mm]
TRUNK_BEYOND = 150.0

# Where bowel gas may lie, and how large its bubbles are (half axes). [mm at stature 1]
GAS_LOW, GAS_HIGH = np.array([22.0, -92.0, -75.0]), np.array([112.0, -66.0, 60.0])
GAS_SMALLEST, GAS_LARGEST = np.array([7.0, 6.0, 7.0]), np.array([22.0, 12.0, 20.0])
GAS_BUBBLES, GAS_TRIES, LUMPY = 14, 200, 0.16

# The psoas beside the column: level, mm aside from the body's middle, mm before it, half thickness.
PSOAS = (
    ("T12", 21.0, -2.0, 3.0),
    ("L1", 26.0, -3.0, 8.0),
    ("L2", 31.0, -3.0, 13.0),
    ("L3", 36.0, -3.0, 17.0),
    ("L4", 42.0, -5.0, 20.0),
    ("L5", 49.0, -12.0, 21.0),
    ("S1", 58.0, -30.0, 18.0),
)
KIDNEY_HALF_AXES = (27.0, 19.0, 54.0)
KIDNEYS = (("L1", 62.0, -14.0, 8.0), ("L2", -64.0, -14.0, 18.0))  # level, left, behind, above

# The top of the table: half width, half length, thickness; skins and rails of carbon fibre. [mm]
TABLE_HALF_WIDTH, TABLE_HALF_LENGTH, TABLE_THICKNESS = 260.0, 900.0, 40.0
MATTRESS, SKIN, RAIL = 45.0, 1.5, 14.0


def ellipsoid(centre, half_axes, jump, *, lumps=None):
    """Return an ellipsoid; `lumps` (3,) is the seed point of a bumpy one."""
    ball = trimesh.creation.icosphere(subdivisions=3)
    points = ball.vertices
    if lumps is not None:
        points = points * (1.0 + LUMPY * smooth_noise(1.6 * points + lumps))[:, None]
    return Surfaces(points * half_axes + centre, ball.faces, jump)


def _lengthened(vertices, faces):
    """Return a trunk whose ends are drawn out, so that no picture shows where its modelled part stops."""
    z = vertices[:, 2]
    beyond = np.where(z > z.max() - 1.0, TRUNK_BEYOND, 0.0) - np.where(z < z.min() + 1.0, TRUNK_BEYOND, 0.0)
    return vertices + beyond[:, None] * np.array([0.0, 0.0, 1.0]), faces


def skin_surfaces(anatomy):
    """Return the trunk, filled with soft tissue.

    Soft tissue is one material: fat attenuates an eighth less and is told apart round the psoas only.
    """
    vertices, faces = _lengthened(*anatomy.tissue.trunk_mesh())
    return Surfaces(vertices, faces, attenuation("soft_tissue"))


def lung_surfaces(anatomy):
    """Return both lungs as they hang beside T9."""
    scale, chest = anatomy.parameters.stature_scale, anatomy.poses["T9"].translation
    return join_surfaces(
        ellipsoid(
            chest + np.array(LUNG_CENTRE) * [side, 1.0, 1.0] * scale,
            np.array(LUNG_HALF_AXES) * scale,
            step("lung"),
        )
        for side in SIDES
    )


def gas_surfaces(anatomy, *, rng=0):
    """Return bubbles of gas in the bowel, apart from one another, before and beside the lumbar column.

    The same seed gives the same bubbles; another patient has another seed.
    """
    rng, scale = np.random.default_rng(rng), anatomy.parameters.stature_scale
    placed = []
    for _ in range(GAS_TRIES):
        if len(placed) == GAS_BUBBLES:
            break
        centre = rng.uniform(GAS_LOW, GAS_HIGH) * [rng.choice(SIDES), 1.0, 1.0]
        half = GAS_SMALLEST + rng.beta(1.2, 2.5) * (GAS_LARGEST - GAS_SMALLEST) * rng.uniform(0.7, 1.0, 3)
        room = max(half) * (1.0 + 3.0 * LUMPY)
        if all(np.linalg.norm(centre - other) > room + reach for other, _, reach in placed):
            placed.append((centre, half, room))
    return join_surfaces(
        ellipsoid(centre * scale, half * scale, -attenuation("soft_tissue"), lumps=10.0 * (k + 1))
        for k, (centre, half, _) in enumerate(placed)
    )


def psoas_surfaces(anatomy):
    """Return psoas muscles and kidneys, which stand out by the fat round them."""
    scale, poses = anatomy.parameters.stature_scale, anatomy.poses
    jump = number("xray", "fat_round_psoas") * step("soft_tissue", "adipose")
    parts = []
    for side in SIDES:
        line = [poses[level].apply(np.array([side * x, y, 0.0]) * scale) for level, x, y, _ in PSOAS]
        half = scale * np.array([[1.2 * size, size] for *_, size in PSOAS])
        parts.append(
            Surfaces(*swept_solid(np.array(line), half_axes=half, sides=20, up=(0.0, 1.0, 0.0)), jump)
        )
    for level, x, y, z in KIDNEYS:
        centre = poses[level].apply(np.array([x, y, z]) * scale)
        parts.append(ellipsoid(centre, np.array(KIDNEY_HALF_AXES) * scale, jump))
    return join_surfaces(parts)


def table_surfaces(anatomy):
    """Return the top of the table under the patient, with the rails along its sides."""
    vertices, _ = anatomy.tissue.trunk_mesh()
    top = vertices[:, 1].min() - MATTRESS
    middle = 0.5 * (vertices[:, 2].min() + vertices[:, 2].max())
    skins = [(0.0, top - 0.5 * SKIN, SKIN, 2.0 * TABLE_HALF_WIDTH)]
    skins += [(0.0, top - TABLE_THICKNESS + 0.5 * SKIN, SKIN, 2.0 * TABLE_HALF_WIDTH)]
    rails = [(side * (TABLE_HALF_WIDTH - 0.5 * RAIL), top - 0.5 * TABLE_THICKNESS,
              TABLE_THICKNESS - 2.0 * SKIN, RAIL) for side in SIDES]  # fmt: skip
    parts = []
    for x, y, thick, wide in skins + rails:
        box = trimesh.creation.box(extents=(wide, thick, 2.0 * TABLE_HALF_LENGTH))
        parts.append(Surfaces(box.vertices + [x, y, middle], box.faces, attenuation("carbon_fibre")))
    return join_surfaces(parts)
