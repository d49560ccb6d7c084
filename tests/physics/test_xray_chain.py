"""The chain of pictures: only what tools touch changes, live view is a value, thickness is read back."""

import numpy as np
import pytest
import trimesh

from meshes.frames import about_x, about_z
from meshes.tables.loader import number
from trainer.physics.needle import Needle
from trainer.physics.xray_blur import narrow_blur
from trainer.physics.xray_carm import CArm
from trainer.physics.xray_collimation import Collimation
from trainer.physics.xray_display import Display, develop, expose, noise_tile
from trainer.physics.xray_materials import attenuation, step
from trainer.physics.xray_picture import BREATHS, PictureChain, breath_at
from trainer.physics.xray_raster import path_attenuation, whole_picture, window_of
from trainer.physics.xray_scene import Scene, tool_surfaces
from trainer.physics.xray_surfaces import Surfaces, join_surfaces
from trainer.physics.xray_view import signal_with, still_view

CARM = CArm((0.0, 0.0, 0.0), pixels=192)
NEEDLE = (
    np.array([5.0, 20.0, 10.0]),
    np.array([0.2, -0.8, 0.5]) / np.linalg.norm([0.2, -0.8, 0.5]),
    Needle(),
)
TOOLS = tool_surfaces(needles=[NEEDLE])


def box(size, jump, at=(0.0, 0.0, 0.0)):
    mesh = trimesh.creation.box(extents=size)
    return Surfaces(mesh.vertices + at, mesh.faces, jump)


@pytest.fixture
def chain():
    """A slab of tissue with a bone in it; a ball of air that moves with the breath."""
    still = join_surfaces(
        [box((300.0, 180.0, 300.0), attenuation("soft_tissue")), box((40.0, 30.0, 60.0), 0.03)]
    )
    ball = trimesh.creation.icosphere(subdivisions=3, radius=15.0)
    air = Surfaces(ball.vertices + [50.0, 0.0, 20.0], ball.faces, -attenuation("soft_tissue"))
    sway = np.tile([0.0, 0.0, -12.0], (len(ball.vertices), 1))
    return PictureChain(Scene(still, air, sway), rng=5)


def test_only_the_window_of_the_tools_changes_and_there_to_the_last_bit(chain):
    view, window = chain.view(CARM), window_of(TOOLS, CARM)
    rows, columns = window.slices
    assert 0 < (rows.stop - rows.start) * (columns.stop - columns.start) < 0.5 * CARM.pixels**2
    part = path_attenuation(TOOLS, CARM, rays_per_pixel_side=2, window=window)
    whole = path_attenuation(TOOLS, CARM, rays_per_pixel_side=2)
    assert np.array_equal(whole[window.slices], part) and part.max() > 0.3
    outside = np.ones(whole.shape, bool)
    outside[window.slices] = False
    assert not whole[outside].any()
    fast, slow = (signal_with(view, *pair) for pair in ((part, window), (whole, whole_picture(CARM))))
    np.testing.assert_array_equal(fast, slow)
    assert np.array_equal(signal_with(view, np.zeros((0, 0)), window_of(tool_surfaces(), CARM)), view.signal)


def test_poses_are_kept(chain):
    first = chain.view(CARM)
    assert chain.view(CARM) is first
    assert chain.view(CARM, purpose="live") is not first
    again = PictureChain(chain.scene, rng=5, keep=1)
    kept = again.view(CARM)
    again.view(CARM.with_changes(orbit=0.3))
    anew = again.view(CARM)
    assert anew is not kept and np.array_equal(anew.signal, kept.signal)


def test_same_seed_same_pictures(chain):
    def film():
        rng, frames = np.random.default_rng(2), []
        for _ in range(3):
            frames.append(chain.live(CARM, TOOLS, rng=rng, before=frames[-1].screen if frames else None))
        return [frame.picture for frame in frames]

    first, second = film(), film()
    assert all(np.array_equal(a, b) for a, b in zip(first, second))
    assert not np.array_equal(first[0], first[1])
    shots = [chain.shot(CARM, TOOLS, rng=seed).picture for seed in (1, 1, 2)]
    assert np.array_equal(shots[0], shots[1]) and not np.array_equal(shots[0], shots[2])


def test_a_live_frame_leaves_the_one_before_alone(chain):
    held = chain.live(CARM, TOOLS, rng=0)
    picture, average = held.picture.copy(), held.screen.average.copy()
    later = chain.live(CARM, tool_surfaces(), rng=1, before=held.screen)
    assert later.screen.frames == 2
    assert np.array_equal(held.picture, picture) and np.array_equal(held.screen.average, average)
    with pytest.raises(ValueError, match="read-only"):
        held.screen.average[0, 0] = 1.0
    # A frame of another size begins anew.
    assert chain.live(CARM.with_changes(pixels=96), TOOLS, rng=1, before=held.screen).screen.frames == 1


def test_the_filter_lowers_noise_as_its_closed_form_says():
    """x' = x + a (y - x) of white y has the variance a / (2 - a); the lag b before it that of (1-b)/(1+b).

    Both in a row: the variance of the cascade, by its impulse response.
    """
    flat, tile, rng = np.ones((192, 192), np.float32), noise_tile(192, 0), np.random.default_rng(0)
    screen = None
    for _ in range(60):
        screen, _ = expose(flat, noise=tile, quanta=400.0, rng=rng, before=screen)
    lag, newest = number("xray", "live.lag"), number("xray", "live.newest")
    n = np.arange(200)
    response = np.convolve((1.0 - lag) * lag**n, newest * (1.0 - newest) ** n)[:200]
    assert screen.average.var() * 400.0 == pytest.approx((response**2).sum(), rel=0.12)
    assert screen.reading.var() * 400.0 == pytest.approx((1.0 - lag) / (1.0 + lag), rel=0.12)
    assert screen.average.mean() == pytest.approx(1.0, abs=2e-3)


def test_a_moved_tool_leaves_a_fading_trace(chain):
    frame, rng = chain.live(CARM, TOOLS, rng=0), np.random.default_rng(0)
    place = np.unravel_index(np.argmin(frame.screen.average / frame.view.signal), frame.view.signal.shape)
    depth = []
    for _ in range(8):
        frame = chain.live(CARM, tool_surfaces(), rng=rng, before=frame.screen)
        depth.append(1.0 - frame.screen.average[place] / frame.view.signal[place])
    assert depth[0] > 0.15 and abs(depth[-1]) < 0.5 * depth[0]


def test_breath_moves_what_breathes_and_nothing_else(chain):
    out, breathed = chain.view(CARM), chain.view(CARM, breath=1.0)
    changed = np.abs(breathed.attenuation - out.attenuation) > 1e-6
    rows, columns = np.nonzero(changed)
    column, row, _ = CARM.project(np.array([[50.0, 0.0, 20.0], [50.0, 0.0, 8.0]]))
    assert abs(columns.mean() - column[0]) < 2.0 and abs(rows.mean() - row.mean()) < 2.0
    assert changed.mean() < 0.1
    assert chain.view(CARM, breath=0.99) is breathed
    assert breath_at(0.0) == 0.0 and breath_at(0.5 * number("xray", "breath.period")) == pytest.approx(1.0)
    assert BREATHS == 5
    with pytest.raises(ValueError, match="breath must lie between 0 and 1, got 1.5"):
        chain.view(CARM, breath=1.5)


def test_a_step_wedge_reads_back_its_thickness():
    """Beer's law: thickness = ln(reading without / with) / attenuation, after taking scatter off."""
    thickness, jump = np.arange(2.0, 18.0, 2.0), step("cortical_bone")
    places = np.linspace(-56.0, 56.0, len(thickness))
    steps = [box((14.0, mm, 40.0), jump, (x, 0.0, 0.0)) for mm, x in zip(thickness, places)]
    slab = box((500.0, 180.0, 500.0), attenuation("soft_tissue"))
    carm = CARM.with_changes(source_to_isocentre=950.0, pixels=256)
    view = still_view(path_attenuation(join_surfaces([slab, *steps]), carm), carm=carm)
    rng = np.random.default_rng(0)
    screen, _ = expose(view.signal, noise=noise_tile(256, 1), quanta=view.quanta, rng=rng)
    scatter = narrow_blur(view.scatter, number("xray", "exposure.unsharpness") / carm.pixel_pitch)
    primary = screen.reading * (1.0 + view.scatter_ratio) - scatter

    def read(x, z):
        column, row, _ = carm.project(np.array([[x, 0.0, z]]))
        middle = slice(int(row[0]) - 10, int(row[0]) + 10), slice(int(column[0]) - 3, int(column[0]) + 4)
        return np.log(primary[middle].mean())

    got = [(read(x, 40.0) - read(x, 0.0)) / jump for x in places]
    np.testing.assert_allclose(got, thickness, atol=0.35)
    assert np.corrcoef(got, thickness)[0, 1] > 0.999


def test_lead_shuts_out_scatter_and_darkens_the_rest(chain):
    wide, narrow = (chain.view(CARM, collimation=c) for c in (Collimation(), Collimation(across=0.3)))
    assert narrow.scatter_ratio < 0.7 * wide.scatter_ratio
    picture = chain.shot(CARM, TOOLS, rng=0, collimation=Collimation(across=0.3)).picture
    assert not picture[60:130, 20:55].any() and picture[60:130, 80:110].mean() > 60.0
    # Less scatter, more contrast.
    contrast = [view.signal[96, 75] / view.signal[96, 90] for view in (wide, narrow)]
    assert contrast[1] > 1.02 * contrast[0]


def test_display_changes_the_picture_not_the_reading(chain):
    plain = chain.shot(CARM, TOOLS, rng=0)
    inverted = chain.shot(CARM, TOOLS, rng=0, display=Display(inverted=True))
    assert np.array_equal(plain.screen.reading, inverted.screen.reading)
    middle = slice(70, 120)
    total = plain.picture[middle, middle].astype(int) + inverted.picture[middle, middle]
    assert abs(total - 255).max() <= 1
    brighter = chain.shot(CARM, TOOLS, rng=0, display=Display(brightness=0.2)).picture
    assert brighter[middle, middle].mean() > plain.picture[middle, middle].mean() + 15.0
    harder = chain.shot(CARM, TOOLS, rng=0, display=Display(contrast=2.0)).picture
    assert harder[middle, middle].std() > 1.1 * plain.picture[middle, middle].std()
    flipped = chain.shot(CARM, TOOLS, rng=0, display=Display(flipped=True)).picture
    assert np.array_equal(flipped[50:80, 50:140], plain.picture[50:80, 52:142][:, ::-1])
    turned = chain.shot(CARM, TOOLS, rng=0, display=Display(turn=0.5 * np.pi)).picture
    assert np.array_equal(turned[50:80, 60:130], np.rot90(plain.picture)[50:80, 60:130])
    for wrong in ({"brightness": 2.0}, {"contrast": 0.0}):
        with pytest.raises(ValueError, match=f"{next(iter(wrong))} must lie between"):
            Display(**wrong)
    for kind in (Display, Collimation):
        assert kind(turn=0.3).turn == 0.3
        with pytest.raises(ValueError, match="turn must be finite, got nan"):
            kind(turn=np.nan)


def crossings(surfaces, carm):
    """Return the picture of bare crossings: all vertices at one depth, so that every ray must balance."""
    from trainer.physics.xray_raster import add_triangles, snap_vertices

    count, sums = len(surfaces.vertices), np.zeros((carm.pixels, carm.pixels))
    columns, rows, nearness = np.empty(count, np.int64), np.empty(count, np.int64), np.empty(count)
    scale, half = carm.source_to_detector / carm.pixel_pitch, 0.5 * carm.pixels
    snap_vertices(surfaces.vertices, 0, count, carm.source, carm.axes, scale, half, columns, rows, nearness)
    faces, ones = surfaces.faces, np.ones(len(surfaces.faces))
    add_triangles(columns, rows, np.ones(count), faces, ones, 0, len(faces), 0.0, 0, 0, 0, sums)
    return sums


@pytest.mark.parametrize("poses", [12, pytest.param(200, marks=pytest.mark.sweep)])
def test_rays_balance_in_random_poses(anatomy, poses):
    """Every ray enters each closed bone as often as it leaves it: the sum is zero, not nearly zero."""
    from trainer.physics.xray_scene import bone_surfaces, pelvis_surfaces

    surfaces = join_surfaces([bone_surfaces(anatomy), pelvis_surfaces(anatomy)])
    rng = np.random.default_rng(poses)
    for _ in range(poses):
        carm = CArm(
            rng.uniform((-40.0, -20.0, 0.0), (40.0, 60.0, 320.0)),
            rng.uniform(-np.pi, np.pi),
            rng.uniform(-1.0, 1.0),
            rng.uniform(100.0, 300.0),
            int(rng.integers(100, 400)),
            swivel=rng.uniform(-0.5, 0.5),
        )
        assert not crossings(surfaces, carm).any()


def test_a_turned_box_weighs_the_same_from_everywhere():
    """Cavalieri: path lengths summed over the plane of the box, magnification undone, are its volume."""
    size, rotation = np.array([12.0, 9.0, 15.0]), about_z(0.5) @ about_x(0.4)
    mesh = trimesh.creation.box(extents=size)
    surfaces = Surfaces(mesh.vertices @ rotation.T, mesh.faces, 1.0)
    for orbit in (0.0, 0.7, 1.6):
        carm = CArm((0.0, 0.0, 0.0), orbit, source_to_isocentre=99_000.0, source_to_detector=100_000.0,
                    image_size=60.0, pixels=256)  # fmt: skip
        total = path_attenuation(surfaces, carm).sum() * (carm.pixel_pitch / carm.magnification) ** 2
        assert total == pytest.approx(size.prod(), rel=2e-3)


@pytest.mark.parametrize("iris", [1.0, 0.6])
def test_the_edge_of_the_beam_does_not_glow(iris):
    """Even tissue is even up to the iris, whatever lies behind the lead."""
    tissue = np.full((192, 192), 4.0)
    view = still_view(tissue, carm=CARM, collimation=Collimation(iris=iris))
    edge = int(0.492 * 192 * iris)
    # As a logarithm; a picture of bone spans about half.
    assert np.ptp((np.log(view.signal) - view.base)[96, 96 : 96 + edge - 4]) < 0.1
    assert not develop(np.log(view.signal), view)[96, 96 + edge + 4 :].any()
