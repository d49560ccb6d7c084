"""Needle checks and maps, beside general-purpose closest-point queries on the same bones."""

import numpy as np
import pytest
import pyvista
import trimesh
import vtk

from meshes.soft_tissue import build_soft_tissue, window_centre
from meshes.units import radians
from trainer.physics.aim import aim_at_target
from trainer.physics.corridor import corridor
from trainer.physics.difficulty import rate
from trainer.physics.needle import Needle
from trainer.physics.needle_check import check_needle
from trainer.physics.plan import plan_needle

SAMPLES = 61


@pytest.fixture(scope="module")
def aim(anatomy):
    return aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(15.0), target_offset=3.0
    )


@pytest.fixture(scope="module")
def points(anatomy, aim):
    """Return the points along the axis whose distance to bone the references are asked."""
    check = check_needle(anatomy, aim)
    return check.entry + np.linspace(0.0, check.to_epidural, SAMPLES)[:, None] * check.direction


def test_full_check(benchmark, anatomy, aim):
    """Every number of a needle, with the certified least clearance."""
    check = benchmark(check_needle, anatomy, aim, Needle())
    assert check.reaches


def test_trimesh_clearance_alone(benchmark, anatomy, points):
    """Reference: trimesh's closest points, 61 along the axis, two bones."""
    meshes = [trimesh.Trimesh(*anatomy.bone_meshes[level], process=False) for level in ("T12", "L1")]
    for mesh in meshes:
        trimesh.proximity.closest_point(mesh, points[:1])
    near = benchmark(lambda: min(trimesh.proximity.closest_point(mesh, points)[1].min() for mesh in meshes))
    assert near > 1.0


def test_vtk_clearance_alone(benchmark, anatomy, points):
    """Reference: VTK's implicit distance, 61 along the axis, two bones."""
    fields = []
    for level in ("T12", "L1"):
        vertices, faces = anatomy.bone_meshes[level]
        surface = pyvista.PolyData.from_regular_faces(vertices, faces)
        field = vtk.vtkImplicitPolyDataDistance()
        field.SetInput(surface)
        fields.append(field)
    near = benchmark(lambda: min(field.EvaluateFunction(point) for field in fields for point in points))
    assert near > 1.0


def test_corridor_map(benchmark, anatomy):
    """100,000 needles."""
    axes = {
        "lateral": np.linspace(0.0, 36.0, 16),
        "caudal": np.linspace(15.0, 135.0, 36),
        "approach": radians(np.linspace(15.0, 60.0, 16)),
        "medial": radians(np.linspace(-5.0, 35.0, 11)),
    }
    found = benchmark(corridor, anatomy, "T12-L1", needle=Needle(152.0), **axes)
    assert found.free.size > 1e5 and found.free.any()


def test_joint_plan(benchmark, anatomy):
    plan = benchmark(plan_needle, anatomy, "T12-L1", needle=Needle(152.0), largest_approach=radians(35.0))
    assert plan.chance > 0.3


def test_smallest_mend(benchmark, anatomy, aim):
    """Search and certification for a needle that enters 12 mm too low."""
    low = aim.with_changes(entry_z=aim.entry_z - 12.0)
    mend = benchmark(lambda: check_needle(anatomy, low, Needle(152.0)).mend)
    assert check_needle(anatomy, mend.aim, mend.needle).passes


def test_both_ratings(benchmark, anatomy):
    assert 0.0 < benchmark(rate, anatomy, "T12-L1", needle=Needle(152.0)).difficulty < 100.0


def test_aim(benchmark, anatomy):
    asked = {"side": "left", "approach": radians(35.0), "medial": radians(15.0), "target_offset": 3.0}
    assert benchmark(aim_at_target, anatomy, "T12-L1", **asked)


def test_soft_tissue(benchmark, anatomy):
    """What a change of posture rebuilds of it."""
    parts = {name: getattr(anatomy, name) for name in ("bones", "poses", "packed", "canal")}
    tissue = benchmark(build_soft_tissue, anatomy.parameters, **parts)
    assert tissue.depth_of(window_centre(anatomy.canal, "T12-L1")) > 25.0
