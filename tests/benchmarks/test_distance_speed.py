"""How fast are distances to the bones, beside general-purpose libraries on the same meshes.

`python -m pytest tests/benchmarks/test_distance_speed.py --benchmark-enable`: one group a question, ratios in
the table. The libraries' answers are compared too, so that the same question was asked.
"""

import numpy as np
import pytest
import trimesh
import vtk
from scipy.spatial import cKDTree
from vtk.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy

from meshes.distance import pack_bones
from meshes.distance_build import signed_grid, triangle_rows, unsigned_distance
from meshes.frames import Pose

LEVEL = "L1"
COUNT = 2000


@pytest.fixture(scope="module")
def bone(anatomy):
    return anatomy.bones[LEVEL]


@pytest.fixture(scope="module")
def points(bone):
    rng = np.random.default_rng(7)
    near = bone.vertices[rng.choice(len(bone.vertices), COUNT)]
    return near + rng.normal(0.0, 1.2, (COUNT, 3))


@pytest.fixture(scope="module")
def truth(bone, points):
    mesh = trimesh.Trimesh(bone.vertices, bone.faces, process=False)
    return trimesh.proximity.closest_point(mesh, points)[1]


def close(found, truth, *, within):
    near = truth < 4.0
    assert np.sqrt(np.mean((np.abs(found) - truth)[near] ** 2)) < within


@pytest.mark.benchmark(group=f"distance of {COUNT} points to one bone")
def test_packed_grid(benchmark, bone, points, truth):
    packed = pack_bones({LEVEL: bone}, {LEVEL: Pose(np.eye(3), np.zeros(3))})
    close(benchmark(packed.nearest, points), truth, within=0.02)


@pytest.mark.benchmark(group=f"distance of {COUNT} points to one bone")
def test_nearest_vertex_by_a_tree_of_scipy(benchmark, bone, points, truth):
    """Not the distance to the surface: nearest vertices only, so coarser."""
    tree = cKDTree(bone.vertices)
    close(benchmark(lambda: tree.query(points)[0]), truth, within=0.3)


@pytest.mark.benchmark(group=f"distance of {COUNT} points to one bone")
def test_implicit_distance_of_vtk(benchmark, bone, points, truth):
    implicit = vtk.vtkImplicitPolyDataDistance()
    implicit.SetInput(poly_data(bone))
    source, out = numpy_to_vtk(np.ascontiguousarray(points)), vtk.vtkDoubleArray()

    def ask():
        implicit.FunctionValue(source, out)
        return vtk_to_numpy(out)

    close(benchmark.pedantic(ask, rounds=3), truth, within=0.01)


@pytest.mark.benchmark(group=f"distance of {COUNT} points to one bone")
def test_closest_point_of_trimesh(benchmark, bone, points, truth):
    mesh = trimesh.Trimesh(bone.vertices, bone.faces, process=False)
    found = benchmark.pedantic(lambda: trimesh.proximity.closest_point(mesh, points)[1], rounds=2)
    close(found, truth, within=1e-9)


@pytest.mark.benchmark(group="distance grid of one bone, half of it")
def test_grid_by_scatter_and_sweeps(benchmark, bone):
    half = bone.grid.values[:, :, bone.grid.values.shape[2] // 2 :]
    origin = [0.0, *bone.grid.origin[1:]]

    def build():
        return signed_grid(bone.vertices, bone.faces, half, origin=origin, pitch=bone.grid.pitch)

    built = benchmark.pedantic(build, rounds=3, warmup_rounds=1)
    assert np.abs(built - half).max() < 1e-5


@pytest.mark.benchmark(group="distance grid of one bone, half of it")
def test_grid_by_a_tree_of_scipy(benchmark, bone):
    """The nearest of the vertices alone, within the same reach."""
    half = bone.grid.values[:, :, bone.grid.values.shape[2] // 2 :]
    axes = [bone.grid.pitch * np.arange(n) for n in half.shape]
    z, y, x = np.meshgrid(*axes, indexing="ij")
    nodes = np.stack([x, y + bone.grid.origin[1], z + bone.grid.origin[2]], axis=-1).reshape(-1, 3)
    tree = cKDTree(bone.vertices)

    def build():
        return tree.query(nodes, distance_upper_bound=bone.grid.reach)[0]

    built = np.minimum(benchmark.pedantic(build, rounds=1), bone.grid.reach).reshape(half.shape)
    assert np.sqrt(np.mean((built - np.abs(half)) ** 2)) < 0.15


def test_the_grid_of_the_benchmark_is_exact(bone, points, truth):
    """One point a grid: no sweep, only the triangle kernel, against the reference."""
    rows = triangle_rows(bone.vertices, bone.faces)
    for point, distance in zip(points[:5], truth[:5]):
        found = unsigned_distance(rows, origin=point, pitch=20.0, shape=(1, 1, 1))
        assert found.item() == pytest.approx(min(distance, 6.0), abs=1e-5)


def poly_data(bone):
    """Return the mesh as vtkPolyData."""
    data = vtk.vtkPolyData()
    corners = vtk.vtkPoints()
    corners.SetData(numpy_to_vtk(np.ascontiguousarray(bone.vertices), deep=True))
    data.SetPoints(corners)
    rows = np.hstack([np.full((len(bone.faces), 1), 3), bone.faces]).astype(np.int64)
    cells = vtk.vtkCellArray()
    cells.ImportLegacyFormat(numpy_to_vtkIdTypeArray(rows.ravel(), deep=True))
    data.SetPolys(cells)
    return data
