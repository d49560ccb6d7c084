"""Draws the pictures of the first page from the ordinary adult: `python -m trainer.window.start_pictures`."""

import numpy as np
from PIL import Image

from meshes.anatomy import build_anatomy
from meshes.units import radians
from scenarios import library
from trainer.physics.aim import aim_at_target
from trainer.physics.needle import Needle
from trainer.physics.needle_check import check_needle
from trainer.window import tokens as t
from trainer.window.scene import SpineScene, View
from trainer.window.scene_shapes import back_meshes, body_meshes
from trainer.window.start_page import PICTURES

SIZE = (560, 760)


def draw(folder=PICTURES):
    """Write practise.png and assess.png."""
    anatomy = build_anatomy(library.load("ordinary-adult").anatomy.parameters())
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(12.0), target_offset=3.0
    )
    check = check_needle(anatomy, aim, Needle())
    tip = check.entry + check.to_epidural * check.direction
    nodes = np.array([tip - 102.0 * check.direction, tip])
    folder.mkdir(exist_ok=True)
    looks = {
        "practise": (body_meshes(anatomy), False, View(0.95, 0.12, tuple(tip + (0.0, 12.0, -16.0)), 150.0)),
        "assess": (
            back_meshes(anatomy),
            True,
            View(0.0, -0.25, tuple(check.entry + (-20.0, 0.0, 30.0)), 250.0),
        ),
    }
    for name, (meshes, back, view) in looks.items():
        scene = SpineScene(meshes, back=back)
        scene.view = view
        scene.show_thread("needle", nodes, radius=1.05, colour=t.NEEDLE, hub=check.direction)
        pixels = scene.render(*SIZE)
        Image.fromarray(pixels).quantize(160).save(folder / f"{name}.png", optimize=True)
        scene.close()


if __name__ == "__main__":
    draw()
