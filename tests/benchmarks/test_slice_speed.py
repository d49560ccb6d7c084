"""Speed of a slice beside general libraries that only look a finished volume up: scipy and VTK.

python -m pytest tests/benchmarks/test_slice_speed.py --benchmark-enable
"""

import numpy as np
import pytest
import pyvista
from scipy.ndimage import map_coordinates

from trainer.physics.slice_picture import cut, slice_picture
from trainer.physics.slice_plane import axial_plane, sagittal_plane


@pytest.fixture(scope="module")
def plane(anatomy):
    return sagittal_plane(anatomy)


@pytest.fixture(scope="module")
def volume():
    """Return a volume (420, 200, 190) at 1 mm, twice as coarse as the slices, of any content."""
    return np.random.default_rng(1).random((420, 200, 190), dtype=np.float32)


def sampled(plane):
    rows, columns = np.mgrid[0.5 : plane.rows, 0.5 : plane.columns]
    return plane.patient_point(np.stack([columns, rows], axis=-1))


@pytest.mark.benchmark(group="slice")
def test_whole_sagittal_slice(benchmark, anatomy, plane):
    picture = benchmark(lambda: slice_picture(cut(anatomy, plane), rng=1))
    assert picture.shape == (plane.rows, plane.columns)


@pytest.mark.benchmark(group="slice")
def test_axial_slice(benchmark, anatomy):
    axial = axial_plane(anatomy, "L3")
    assert benchmark(lambda: slice_picture(cut(anatomy, axial), rng=1)).shape[1] == axial.columns


@pytest.mark.benchmark(group="slice")
def test_scipy_looks_a_volume_up(benchmark, plane, volume):
    places = np.moveaxis(sampled(plane) + [95.0, 100.0, 86.0], -1, 0)[::-1]
    assert benchmark(lambda: map_coordinates(volume, places, order=1)).shape == (plane.rows, plane.columns)


@pytest.mark.benchmark(group="slice")
def test_vtk_probes_a_volume(benchmark, plane, volume):
    grid = pyvista.ImageData(dimensions=volume.shape[::-1], origin=(-95.0, -100.0, -86.0))
    grid.point_data["grey"] = volume.ravel()
    points = pyvista.PolyData(sampled(plane).reshape(-1, 3))
    assert benchmark(lambda: points.sample(grid)).n_points == plane.rows * plane.columns
