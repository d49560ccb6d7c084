"""Path lengths against closed forms, parity, additivity and the guards of the rasteriser."""

import numpy as np
import pytest
import trimesh

from meshes.frames import about_x, about_z
from trainer.physics.two_threads import THREADS
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_raster import (
    StillAttenuation,
    add_triangles,
    path_attenuation,
    snap_vertices,
)
from trainer.physics.xray_surfaces import Surfaces, join_surfaces

CARM = CArm((3.0, -4.0, 5.0), 0.6, -0.2, pixels=160, image_size=160.0)
VIEWS = [CARM, CARM.with_changes(orbit=0.0, tilt=0.0), CARM.with_changes(orbit=np.pi / 2, tilt=0.0)]


def sphere(radius, jump=1.0, *, at=CARM.isocentre, subdivisions=5):
    mesh = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Surfaces(mesh.vertices + at, mesh.faces, jump)


def chord(radius, carm, *, at=CARM.isocentre):
    """Return the length of each ray in a sphere: 2 sqrt(r² - d²), d the ray's distance from the centre."""
    centre = np.asarray(at) - carm.source
    along = carm.rays() @ centre
    return 2.0 * np.sqrt(np.maximum(radius**2 - (centre @ centre - along**2), 0.0))


@pytest.mark.parametrize("carm", VIEWS)
def test_sphere(carm):
    """Closed form; the mesh lies inside the sphere by the sag of its triangles, longer along slanted rays."""
    ball, wanted = sphere(30.0), chord(30.0, carm)
    error = path_attenuation(ball, carm) - wanted
    sag = 30.0 - np.linalg.norm(ball.vertices[ball.faces].mean(axis=1) - carm.isocentre, axis=1).min()
    assert 0.005 < sag < 0.02
    inside = wanted > 10.0
    assert np.all(error[inside] < 1e-3)
    assert np.all(-error[inside] < 2.0 * sag * 60.0 / wanted[inside] + 1e-3)
    assert np.sqrt(np.mean(error**2)) < 0.02


@pytest.mark.parametrize("carm", VIEWS)
def test_rotated_box(carm):
    """Closed form by slabs: a ray is inside between its latest entry and its earliest exit."""
    size, rotation = np.array([30.0, 22.0, 41.0]), about_z(0.5) @ about_x(0.4)
    box = trimesh.creation.box(extents=size)
    got = path_attenuation(Surfaces(box.vertices @ rotation.T + CARM.isocentre, box.faces, 1.0), carm)
    start = (carm.source - CARM.isocentre) @ rotation
    rays = carm.rays() @ rotation
    ends = np.stack([(-0.5 * size - start) / rays, (0.5 * size - start) / rays])
    wanted = np.maximum(ends.max(axis=0).min(axis=-1) - ends.min(axis=0).max(axis=-1), 0.0)
    assert wanted.max() > 25.0
    # Corners move by half a 256th of a pixel, about 1.3 micrometres at the isocentre.
    np.testing.assert_allclose(got, wanted, atol=0.03)


def test_nested_shell():
    """Closed form: a shell attenuates like the big sphere less the small one."""
    shell = [sphere(30.0, 0.05), sphere(28.0, -0.03)]
    got = path_attenuation(join_surfaces(shell), CARM)
    wanted = 0.05 * chord(30.0, CARM) - 0.03 * chord(28.0, CARM)
    assert np.sqrt(np.mean((got - wanted) ** 2)) < 1e-3


def test_second_order_in_the_fineness_of_the_sphere():
    """A sphere's triangles lie inside it by the square of their size."""
    inside = chord(30.0, CARM) > 40.0
    errors = [
        np.abs((path_attenuation(sphere(30.0, subdivisions=k), CARM) - chord(30.0, CARM))[inside]).mean()
        for k in (3, 4, 5)
    ]
    orders = np.log2(np.divide(errors[:-1], errors[1:]))
    assert np.all((orders > 1.8) & (orders < 2.2))


def parity(surfaces, carm):
    """Return the picture of the bare crossings: +1 leaving, -1 entering, no depth."""
    count, sums = len(surfaces.vertices), np.zeros((carm.pixels, carm.pixels))
    columns, rows, nearness = np.empty(count, np.int64), np.empty(count, np.int64), np.empty(count)
    scale, half = carm.source_to_detector / carm.pixel_pitch, 0.5 * carm.pixels
    snap_vertices(surfaces.vertices, 0, count, carm.source, carm.axes, scale, half, columns, rows, nearness)
    add_triangles(
        columns, rows, np.ones(count), surfaces.faces, np.ones(len(surfaces.faces)),
        0, len(surfaces.faces), 0.0, 0, 0, 0, sums,
    )  # fmt: skip
    return sums


@pytest.mark.parametrize("carm", VIEWS)
def test_every_ray_enters_as_often_as_it_leaves(carm):
    box = trimesh.creation.box(extents=(20.0, 20.0, 20.0))
    # Faces along rows and columns of pixels, corners on pixel middles: ties everywhere.
    for surfaces in (sphere(30.0), Surfaces(box.vertices + CARM.isocentre, box.faces, 1.0)):
        assert np.all(parity(surfaces, carm) == 0.0)


def test_an_open_surface_is_noticed():
    whole = sphere(30.0)
    assert np.any(parity(Surfaces(whole.vertices, whole.faces[:-40], 1.0), CARM) != 0.0)


def test_pictures_add_up():
    parts = [sphere(30.0, 0.05), sphere(12.0, 0.7, at=(10.0, 0.0, 9.0)), sphere(5.0, -0.2)]
    together = path_attenuation(join_surfaces(parts), CARM)
    alone = sum(path_attenuation(part, CARM) for part in parts)
    np.testing.assert_allclose(together, alone, rtol=0.0, atol=1e-10)


def test_the_same_to_the_last_bit_in_threads():
    fine = sphere(30.0, 0.05, subdivisions=6)
    assert len(fine.faces) > 20_000 and THREADS == 2
    assert np.array_equal(path_attenuation(fine, CARM), path_attenuation(fine, CARM))


def test_more_rays_a_pixel_give_their_mean():
    four = path_attenuation(sphere(30.0), CARM, rays_per_pixel_side=2)
    finer = path_attenuation(sphere(30.0), CARM.with_changes(pixels=2 * CARM.pixels))
    mean = finer.reshape(CARM.pixels, 2, CARM.pixels, 2).mean(axis=(1, 3))
    np.testing.assert_allclose(four, mean, rtol=1e-4, atol=1e-4)


def test_half_outside_the_picture_is_no_trouble():
    carm = CARM.with_changes(image_size=40.0)
    error = path_attenuation(sphere(30.0), carm) - chord(30.0, carm)
    assert chord(30.0, carm).min() > 40.0
    assert np.abs(error).max() < 0.03


def test_nothing_gives_an_empty_picture():
    assert not path_attenuation(join_surfaces([]), CARM).any()


def test_still_part_is_kept_by_pose():
    still = StillAttenuation(sphere(20.0), keep=2)
    first = still.seen_by(CARM)
    assert still.seen_by(CArm(CARM.isocentre, 0.6, -0.2, pixels=160, image_size=160.0)) is first
    assert not first.flags.writeable
    for orbit in (0.1, 0.2):
        still.seen_by(CARM.with_changes(orbit=orbit))
    again = still.seen_by(CARM)
    assert again is not first and np.array_equal(again, first)


def test_guards_of_the_rasteriser():
    with pytest.raises(ValueError, match=r"surfaces must lie at least 1 mm in front of the source, got"):
        path_attenuation(sphere(30.0, at=CARM.source), CARM)
    with pytest.raises(ValueError, match="rays_per_pixel_side must be 1, 2 or 4, got 3"):
        path_attenuation(sphere(30.0), CARM, rays_per_pixel_side=3)
    with pytest.raises(ValueError, match="keep must be at least 1, got 0"):
        StillAttenuation(sphere(30.0), keep=0)
    near = CARM.source + 40.0 * CARM.axes[2]
    assert path_attenuation(sphere(30.0, at=near), CARM).max() > 50.0


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"vertices": np.zeros((4, 2))}, r"vertices must have shape \(n, 3\), got \(4, 2\)"),
        ({"faces": [[0, 1, 2, 3]]}, r"faces must have shape \(m, 3\), got \(1, 4\)"),
        ({"faces": [[0, 1, 4]]}, "faces must name vertices 0 to 3, got 0 to 4"),
        ({"jump": np.inf}, "vertices and jump must be finite"),
    ],
)
def test_guards_of_surfaces(wrong, words):
    good = {"vertices": np.zeros((4, 3)), "faces": [[0, 1, 3]], "jump": 0.1}
    assert Surfaces(**good).jump.tolist() == [0.1]
    with pytest.raises(ValueError, match=words):
        Surfaces(**(good | wrong))
