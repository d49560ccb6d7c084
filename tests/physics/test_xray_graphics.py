"""Blending through VTK, in software where there is no card: the same numbers, chosen by measurement."""

import time

import numpy as np
import pytest
import trimesh

from meshes.units import radians
from trainer.physics.needle import Needle
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_choice import Choice, choose_rasteriser, is_program, rasteriser_for
from trainer.physics.xray_graphics import BlendingRasteriser, NoGraphicsError, vertex_jumps
from trainer.physics.xray_raster import path_attenuation
from trainer.physics.xray_scene import pelvis_surfaces, rib_surfaces, tool_surfaces, trunk_surfaces
from trainer.physics.xray_surfaces import Surfaces, join_surfaces


@pytest.fixture(scope="module")
def graphics():
    rasteriser = BlendingRasteriser()
    try:
        assert rasteriser.card
    except NoGraphicsError as error:
        pytest.skip(str(error))
    return rasteriser


@pytest.mark.parametrize(("orbit_deg", "tilt_deg"), [(0.0, 0.0), (50.0, -15.0), (90.0, 0.0)])
def test_the_card_draws_the_same_numbers(anatomy, graphics, orbit_deg, tilt_deg):
    needle = tool_surfaces(needles=[((0.0, 60.0, 150.0), (0.1, -0.6, 0.8), Needle())])
    surfaces = join_surfaces(
        [trunk_surfaces(anatomy), rib_surfaces(anatomy), pelvis_surfaces(anatomy), needle]
    )
    carm = CArm(isocentre_at(anatomy, "L2"), radians(orbit_deg), radians(tilt_deg), pixels=256)
    exact, drawn = path_attenuation(surfaces, carm), graphics(surfaces, carm)
    assert drawn.shape == exact.shape and exact.max() > 3.0
    assert np.sqrt(np.mean((drawn - exact) ** 2)) < 1e-3
    assert np.median(np.abs(drawn - exact)) < 1e-4
    # A wrong side or a wrong corner would be seen at once.
    assert np.sqrt(np.mean((drawn[:, ::-1] - exact) ** 2)) > 0.02


def test_other_sizes_and_poses_of_what_was_sent(graphics):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=30.0)
    surfaces = Surfaces(ball.vertices + [0.0, 0.0, 12.0], ball.faces, 0.05)
    for pixels in (64, 200):
        carm = CArm((0.0, 0.0, 0.0), 0.4, 0.2, pixels=pixels, swivel=0.1, image_size=230.0)
        error = graphics(surfaces, carm) - path_attenuation(surfaces, carm)
        assert np.sqrt(np.mean(error**2)) < 1e-3
    assert not graphics(join_surfaces([]), carm).any()


def test_surfaces_are_sent_once_and_forgotten_with_their_owner():
    rasteriser = BlendingRasteriser()
    carm, other_pose = CArm((0.0, 0.0, 0.0), pixels=64), CArm((0.0, 0.0, 0.0), 0.5, pixels=64)

    def ball(radius):
        mesh = trimesh.creation.icosphere(subdivisions=3, radius=radius)
        return Surfaces(mesh.vertices, mesh.faces, 0.05)

    def drawn(surfaces, pose):
        try:
            return rasteriser(surfaces, pose).max()
        except NoGraphicsError as error:
            pytest.skip(str(error))

    large, small = ball(40.0), ball(20.0)
    assert drawn(large, carm) == pytest.approx(4.0, rel=0.02)
    sent = rasteriser._actor(large).GetMapper().GetVBOs()
    sending = sent.GetMTime()
    # Alone, in spite of the large one that stays on the card.
    assert drawn(small, carm) == pytest.approx(2.0, rel=0.02)
    assert drawn(large, other_pose) == pytest.approx(4.0, rel=0.02)
    assert sent.GetMTime() == sending
    del small
    assert drawn(large, carm) == pytest.approx(4.0, rel=0.02)
    assert rasteriser._renderer.GetActors().GetNumberOfItems() == 1


def test_a_vertex_between_two_steps_is_doubled():
    box = trimesh.creation.box(extents=(1.0, 1.0, 1.0))
    plain = Surfaces(box.vertices, box.faces, 0.3)
    vertices, faces, jump = vertex_jumps(plain)
    assert vertices is plain.vertices and set(jump) == {0.3}
    mixed = Surfaces(box.vertices, box.faces, np.where(np.arange(12) < 6, 0.1, 0.2))
    vertices, faces, jump = vertex_jumps(mixed)
    np.testing.assert_array_equal(vertices[faces], mixed.vertices[mixed.faces])
    np.testing.assert_array_equal(jump[faces], np.repeat(mixed.jump[:, None], 3, axis=1))


class Pretended:
    """Stands for a card that draws with a given error in no time, or cannot be had."""

    def __init__(self, error=0.0, delay=0.0, missing=False, name="pretended"):
        self.error, self.delay, self.missing, self.name = error, delay, missing, name
        self.seen = {}

    def _be_there(self):
        if self.missing:
            raise NoGraphicsError(
                "there must be OpenGL to draw with, got none: use the processor's rasteriser"
            )

    @property
    def card(self):
        self._be_there()
        return self.name

    def __call__(self, surfaces, carm):
        self._be_there()
        if carm not in self.seen:
            self.seen[carm] = path_attenuation(surfaces, carm) + self.error
        time.sleep(self.delay)
        return self.seen[carm]


def test_the_faster_one_is_chosen_if_it_is_right():
    # The pretended card knows the pictures already.
    ball = trimesh.creation.icosphere(subdivisions=6, radius=60.0)
    surfaces, carm = Surfaces(ball.vertices, ball.faces, 0.05), CArm((0.0, 0.0, 0.0), pixels=256)

    def chosen(**how):
        card = Pretended(**how)
        if not card.missing:
            for k in range(4):
                card(surfaces, carm.with_changes(orbit=0.01 * k))
        return choose_rasteriser(surfaces, carm, graphics=card), card

    choice, card = chosen()
    assert choice.rasterise is card and choice.difference == 0.0 and choice.card == "pretended"
    assert choice.graphics_seconds < choice.processor_seconds
    assert chosen(error=0.01)[0].rasterise is path_attenuation
    slow = chosen(delay=0.5)[0]
    assert slow.rasterise is path_attenuation and slow.graphics_seconds > slow.processor_seconds
    none = chosen(missing=True)[0]
    assert none.rasterise is path_attenuation and none.graphics_seconds == float("inf")
    assert "there must be OpenGL" in none.card


def asked_for(drawn_by, **how):
    """Return (Choice, the pretended card) for a small ball."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=60.0)
    surfaces, carm = Surfaces(ball.vertices, ball.faces, 0.05), CArm((0.0, 0.0, 0.0), pixels=64)
    card = Pretended(**how)
    return rasteriser_for(surfaces, carm, drawn_by=drawn_by, graphics=card), card


def test_who_draws_is_who_was_asked():
    choice, card = asked_for("processor")
    assert choice.rasterise is path_attenuation and not choice.by_card and not card.seen
    choice, card = asked_for("card", delay=0.5)
    assert choice.rasterise is card and choice.by_card and choice.card == "pretended" and not card.seen
    with pytest.raises(NoGraphicsError, match="there must be OpenGL"):
        asked_for("card", missing=True)
    with pytest.raises(ValueError, match="drawn_by must be one of processor, card, faster, got 'both'"):
        asked_for("both")


def test_the_faster_one_is_measured_on_a_real_card_only():
    choice, card = asked_for("faster", error=1.0)
    assert len(card.seen) == 4 and choice.rasterise is path_attenuation
    assert choice.graphics_seconds > 0.0 and choice.difference == pytest.approx(1.0)
    choice, card = asked_for("faster", name="llvmpipe (LLVM 15.0.6, 256 bits)")
    assert not card.seen and choice.rasterise is path_attenuation and choice.card.startswith("llvmpipe")
    choice, _ = asked_for("faster", missing=True)
    assert choice.rasterise is path_attenuation and "there must be OpenGL" in choice.card
    assert np.isnan(Choice(path_attenuation).processor_seconds)


def test_a_program_that_stands_for_a_card_is_known_by_its_name():
    """Names as the drivers give them: the first was seen, the others are from memory."""
    assert is_program("llvmpipe (LLVM 15.0.6, 256 bits)") and is_program("GDI Generic")
    assert is_program("Basic Render Driver") and not is_program("Card 80GB/PCIe/SSE2")
