"""The 3D picture by its pixels: bones, translucent skin, instruments on top, sides."""

from dataclasses import replace

import numpy as np
import pytest

from trainer.window import tokens as t
from trainer.window.scene import SpineScene, View
from trainer.window.scene_shapes import Thread, body_meshes

SIZE = (320, 400)
BEHIND = View(centre=(0.0, 20.0, 180.0), height=240.0)


@pytest.fixture(scope="module")
def scene(ready):
    made = SpineScene(ready.meshes)
    yield made
    made.close()


@pytest.fixture
def seen(scene):
    def see(view=BEHIND, **look):
        scene.view = view
        return scene.render(*SIZE, **look).astype(int)

    return see


def test_bones_are_bright_and_the_ground_is_dark(seen):
    picture = seen()
    middle, edge = picture[150:250, 140:180], picture[5:15, 5:15]
    assert middle.max() > 180
    assert edge.max() < 80


def test_the_skin_is_translucent(scene, seen):
    """With multi-sampling some software renderers drop translucent faces without a word."""
    aside = View(azimuth=1.05, centre=(0.0, 40.0, 180.0), height=240.0)
    with_skin = seen(aside)
    scene.actors["skin"].VisibilityOff()
    without = seen(aside)
    scene.actors["skin"].VisibilityOn()
    changed = np.abs(with_skin - without).max(axis=2)
    assert (changed > 3).mean() > 0.05, "the skin must be seen"
    bone = without.min(axis=2) > 140
    assert np.abs(with_skin - without)[bone].mean() < 40, "and bone must be seen through it"


def test_glass_bones_let_the_dura_through(scene, seen):
    solid = seen()
    scene.show_glass(True)
    glass = seen()
    scene.show_glass(False)
    column = (slice(120, 280), slice(152, 168))
    blue = [p[column][..., 2].mean() - p[column][..., 0].mean() for p in (solid, glass)]
    assert blue[1] > blue[0] + 10


def test_a_lead_lies_on_top_with_its_bands(ready, scene, seen):
    canal = ready.anatomy.canal
    stations = np.linspace(canal.station("L1"), canal.station("T9"), 40)
    nodes = canal.to_world(stations, np.zeros(40), np.full(40, 7.0))
    scene.show_thread("lead", nodes, radius=1.5, colour=t.LEAD, banded="#000000", bands=[(10.0, 30.0)])
    picture = seen()
    yellow = (picture[..., 0] > 150) & (picture[..., 1] > 120) & (picture[..., 2] < 100)
    assert yellow.sum() > 60
    scene.show_thread("lead", None, radius=1.5, colour=t.LEAD)
    gone = seen()
    assert ((gone[..., 0] > 150) & (gone[..., 1] > 120) & (gone[..., 2] < 100)).sum() < 5


def test_points_stand_where_they_are_drawn(scene, seen):
    """The marks of the window are placed by the same projection as the picture."""
    tip = np.array([30.0, 80.0, 200.0])
    scene.show_thread("needle", np.array([tip - (0.0, 0.0, 3.0), tip]), radius=4.0, colour="#ff00ff")
    for view in (BEHIND, View(azimuth=0.7, elevation=0.4, centre=(0.0, 30.0, 190.0), height=200.0)):
        picture = seen(view)
        pink = (picture[..., 0] > 90) & (picture[..., 1] < 60) & (picture[..., 2] > 90)
        rows, columns = np.nonzero(pink)
        u, v = view.shares(tip[None], aspect=SIZE[0] / SIZE[1])[0]
        assert columns.mean() / SIZE[0] == pytest.approx(u, abs=0.02)
        assert rows.mean() / SIZE[1] == pytest.approx(v, abs=0.02)
    scene.show_thread("needle", None, radius=4.0, colour="#ff00ff")


def test_the_patients_left_stands_on_the_left_from_behind():
    u = BEHIND.shares([[40.0, 0.0, 180.0], [-40.0, 0.0, 180.0]], aspect=0.8)[:, 0]
    assert u[0] < 0.5 < u[1]
    from_left = View(azimuth=np.pi / 2)
    assert from_left.shares([[0.0, 50.0, 150.0]], aspect=1.0)[0, 0] > 0.5, "the back on the right"


def test_a_view_never_goes_over_the_head():
    view = View().turned(0.3, 9.0)
    assert view.elevation < np.pi / 2
    right, up, towards = view.axes()
    np.testing.assert_allclose([right @ up, right @ towards, up @ towards], 0.0, atol=1e-12)
    np.testing.assert_allclose(np.cross(right, up), towards, atol=1e-12)


def test_in_motion_the_picture_is_smaller(seen):
    assert seen(scale=0.5).shape == (SIZE[1] // 2, SIZE[0] // 2, 3)


def test_the_back_shows_the_back_only(ready_back):
    assert set(ready_back.meshes) == {"skin"}
    scene = SpineScene(ready_back.meshes, back=True)
    scene.view = BEHIND
    picture = scene.render(*SIZE).astype(int)
    scene.close()
    middle = picture[180:220, 60:260].reshape(-1, 3).mean(axis=0)
    assert middle[0] > middle[2] + 15, "skin, not bone"


def test_light_bones_are_the_bones(ready):
    light = body_meshes(ready.anatomy)["L1"]
    vertices, _ = ready.anatomy.bone_meshes["L1"]
    middle = np.asarray(light.bounds).reshape(3, 2).mean(axis=1)
    np.testing.assert_allclose(middle, 0.5 * (vertices.min(axis=0) + vertices.max(axis=0)), atol=1.0)
    assert light.is_manifold
    assert light.n_cells < 0.35 * len(ready.anatomy.bones["L1"].faces)


def test_a_thread_keeps_its_points_while_it_bends():
    thread = Thread(radius=1.0, colour="#ffffff")
    points = thread.mesh.points
    thread.follow([[0.0, 0.0, 0.0], [0.0, 0.0, 50.0]])
    assert thread.mesh.points is points or np.shares_memory(thread.mesh.points, points)
    away = np.hypot(*np.asarray(thread.mesh.points)[:, :2].T)
    np.testing.assert_allclose(away, 1.0, atol=1e-5)
    assert replace(View(), height=10.0).height == 10.0
