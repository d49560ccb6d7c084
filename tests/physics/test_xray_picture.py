"""The detector and the display: repeatable noise, exposure, marks, files."""

import numpy as np
import pytest
import trimesh
from PIL import Image
from scipy.ndimage import gaussian_filter

from trainer.physics.xray_blur import narrow_blur, wide_blur
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_display import expose, noise_tile
from trainer.physics.xray_marks import mark
from trainer.physics.xray_picture import film, png_bytes, take_picture, write_png
from trainer.physics.xray_raster import StillAttenuation, path_attenuation
from trainer.physics.xray_surfaces import Surfaces, join_surfaces
from trainer.physics.xray_view import still_view

CARM = CArm((0.0, 0.0, 0.0), pixels=256)


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
    """A thicker patient of the same make gives the same primary beam, whatever charge it took."""
    thin, thick = (still_view(phantom + more, carm=CARM) for more in (0.0, 1.0))
    assert thick.middle - thin.middle == pytest.approx(1.0, abs=1e-5)
    assert thick.technique.reference_kerma > 2.0 * thin.technique.reference_kerma
    assert thick.technique.quanta == pytest.approx(thin.technique.quanta, rel=1e-9)
    # Only the share of scatter differs.
    thin_primary, thick_primary = (
        view.signal * (1.0 + view.scatter_ratio) - narrow_blur(view.scatter, 0.35) for view in (thin, thick)
    )
    np.testing.assert_allclose(thin_primary, thick_primary, rtol=0.02, atol=0.01)


@pytest.mark.parametrize("quanta", [100.0, 400.0, 1600.0])
def test_noise_has_the_variance_of_counting(quanta):
    """Poisson: the relative variance of N counts is 1 / N, so it falls in proportion to the exposure."""
    flat, rng = np.full((256, 256), 2.0, np.float32), np.random.default_rng(3)
    screen, _ = expose(flat, noise=noise_tile(256, 3), quanta=quanta, rng=rng)
    # Twice the middle grey is twice the count. 65536 values tell a variance to half a per cent.
    assert screen.reading.mean() == pytest.approx(2.0, abs=4e-3)
    assert screen.reading.var() / 4.0 == pytest.approx(1.0 / (2.0 * quanta), rel=0.025)


def test_a_narrow_blur_is_scipys():
    """scipy.ndimage.gaussian_filter cut off at the same three deviations."""
    picture = np.random.default_rng(0).random((61, 61)).astype(np.float32)
    wanted = gaussian_filter(picture, 1.7, mode="nearest", truncate=3.0)
    np.testing.assert_allclose(narrow_blur(picture, 1.7), wanted, atol=2e-6)


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
