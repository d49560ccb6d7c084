"""The detector and the display: repeatable noise, exposure, marks, files."""

import numpy as np
import pytest
import trimesh
from PIL import Image

from meshes.tables.loader import number
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_marks import mark
from trainer.physics.xray_picture import expose, film, png_bytes, take_picture, wide_blur, write_png
from trainer.physics.xray_raster import StillAttenuation, path_attenuation
from trainer.physics.xray_surfaces import Surfaces, join_surfaces

CARM = CArm((0.0, 0.0, 0.0), pixels=256)
PITCH = CARM.pixel_pitch


def box(size, jump, at=(0.0, 0.0, 0.0)):
    mesh = trimesh.creation.box(extents=size)
    return Surfaces(mesh.vertices + at, mesh.faces, jump)


@pytest.fixture(scope="module")
def phantom():
    """A slab of tissue with a bone in it."""
    return path_attenuation(
        join_surfaces([box((300.0, 180.0, 300.0), 0.021), box((40.0, 30.0, 30.0), 0.02)]), CARM
    )


def test_same_seed_same_picture(phantom):
    first = film(phantom, rng=7, carm=CARM)
    assert np.array_equal(first, film(phantom, rng=7, carm=CARM))
    assert np.array_equal(first, film(phantom, rng=np.random.default_rng(7), carm=CARM))
    assert not np.array_equal(first, film(phantom, rng=8, carm=CARM))


def test_bone_is_dark_and_the_corners_are_shut(phantom):
    picture = film(phantom, rng=0)
    bone, tissue = picture[123:133, 123:133].mean(), picture[123:133, 185:195].mean()
    assert bone < 0.6 * tissue
    assert not picture[:20, :20].any()


def test_exposure_is_automatic(phantom):
    """A thicker patient of the same make gives the same reading, whatever the number of quanta it took."""
    thin = expose(phantom, rng=np.random.default_rng(1), pixel_pitch=PITCH)
    thick = expose(phantom + 2.0, rng=np.random.default_rng(1), pixel_pitch=PITCH)
    np.testing.assert_allclose(thin, thick, rtol=1e-5)


def test_noise_has_the_variance_of_counting():
    """Poisson: the relative standard deviation of N counts is 1 / sqrt(N)."""
    flat = expose(np.ones((256, 256)), rng=np.random.default_rng(3), pixel_pitch=PITCH)
    counts = number("xray", "exposure.quanta") * PITCH**2
    assert flat.mean() == pytest.approx(1.0, abs=2e-3)
    # 65536 values tell a standard deviation to 0.3 %.
    assert flat.std() == pytest.approx(counts**-0.5, rel=0.015)


@pytest.mark.parametrize("pixels", [64, 250, 512])
def test_wide_blur_spreads_a_step_as_a_gaussian_does(pixels):
    """Closed form: a step blurred by a Gaussian is its error function; 0.841 one deviation beyond."""
    step = np.zeros((pixels, pixels), np.float32)
    step[:, pixels // 2 :] = 1.0
    profile = wide_blur(step, 0.08)[pixels // 2]
    middles = (np.arange(pixels) + 0.5) / pixels - (pixels // 2) / pixels
    assert np.interp([0.0, 0.08, -0.08], middles, profile) == pytest.approx([0.5, 0.8413, 0.1587], abs=0.02)
    assert wide_blur(np.ones((pixels, pixels), np.float32), 0.08) == pytest.approx(1.0, abs=1e-5)


def test_tools_are_dark_in_front_of_bone():
    still = StillAttenuation(
        join_surfaces([box((300.0, 180.0, 300.0), 0.021), box((40.0, 30.0, 60.0), 0.02)])
    )
    wire = box((1.3, 1.3, 40.0), 0.7)
    picture = take_picture(still, wire, carm=CARM, rng=0)
    assert picture[118:138, 127:129].mean() < 0.4 * picture[118:138, 140:146].mean()
    assert np.array_equal(picture, take_picture(still, wire, carm=CARM, rng=0))


@pytest.mark.parametrize("pixels", [256, 512, 1024])
def test_marks_stand_at_their_places(pixels):
    carm = CARM.with_changes(pixels=pixels)
    blank = np.full((pixels, pixels), 90, np.uint8)
    marked = mark(blank, carm)
    drawn = marked > 200
    n = pixels
    places = {
        "left": drawn[4 * n // 9 : 5 * n // 9, : n // 9],
        "right": drawn[4 * n // 9 : 5 * n // 9, -n // 9 :],
        "head": drawn[: n // 9, 4 * n // 9 : 5 * n // 9],
        "scale": drawn[-n // 9 :, : n // 5],
        "name": drawn[: n // 9, : n // 5],
    }
    assert all(place.any() for place in places.values())
    assert drawn.sum() == sum(place.sum() for place in places.values()) + drawn[: n // 9, 5 * n // 9 :].sum()
    assert (blank == 90).all()


def test_left_and_right_letters_differ():
    blank = np.zeros((256, 256), np.uint8)
    front, back = mark(blank, CARM), mark(blank, CARM.with_changes(orbit=np.pi))
    assert not np.array_equal(front[100:150, :60], back[100:150, :60])


def test_file_holds_the_picture(tmp_path, phantom):
    picture, path = film(phantom, rng=0, carm=CARM), tmp_path / "view.png"
    write_png(path, picture)
    assert np.array_equal(np.asarray(Image.open(path)), picture)
    assert path.read_bytes() == png_bytes(picture)
    assert [p.name for p in tmp_path.iterdir()] == ["view.png"]


def test_no_half_file_is_left(tmp_path, phantom):
    folder = tmp_path / "view.png"
    folder.mkdir()
    with pytest.raises(OSError):
        write_png(folder, film(phantom, rng=0))
    assert [p.name for p in tmp_path.iterdir()] == ["view.png"]
    with pytest.raises(FileNotFoundError):
        write_png(tmp_path / "missing" / "view.png", film(phantom, rng=0))


def test_guards(phantom):
    with pytest.raises(ValueError, match=r"attenuation must have shape \(n, n\), got \(4, 5\)"):
        film(np.zeros((4, 5)), rng=0)
    with pytest.raises(ValueError, match="attenuation must be finite"):
        film(np.full((64, 64), np.nan), rng=0)
    with pytest.raises(ValueError, match="carm must have 256 pixels, got 128"):
        film(phantom, rng=0, carm=CARM.with_changes(pixels=128))
    with pytest.raises(ValueError, match=r"picture must be \(n, n\) uint8"):
        png_bytes(phantom)
    assert film(np.zeros((64, 64)), rng=0).shape == (64, 64)
