"""What an attempt's page needs and takes a while to make: built in a thread beside the window."""

from dataclasses import dataclass

from meshes.anatomy import build_anatomy
from trainer.attempt.state import ASSESSMENT
from trainer.physics.xray_picture import PictureChain
from trainer.physics.xray_scene import scene_of
from trainer.window.scene_shapes import back_meshes, body_meshes


@dataclass(frozen=True, eq=False)
class Prepared:
    """A case, ready to be shown.

    Parameters
    ----------
    scenario : scenarios.scenario.Scenario
    seed : int
    anatomy : meshes.anatomy.Anatomy
    meshes : dict
        {name: mesh} of the left picture.
    back : bool
        Whether that picture is the back only.
    chain : trainer.physics.xray_picture.PictureChain
    """

    scenario: object
    seed: int
    anatomy: object
    meshes: dict
    back: bool
    chain: object


def prepared(scenario, *, mode, seed=None, progress=None):
    """Return the Prepared of a case; `progress(done, total, words)` may raise to stop."""
    tell = progress or (lambda *_: None)
    anatomy = build_anatomy(scenario.anatomy.parameters(), progress=progress)
    return prepared_for(anatomy, scenario, mode=mode, seed=seed, tell=tell)


def prepared_for(anatomy, scenario, *, mode, seed=None, tell=lambda *_: None):
    """Return the Prepared of an anatomy that is built already."""
    tell(0, 4, "the canal and the soft tissue")
    anatomy.canal, anatomy.tissue  # noqa: B018 - computed once, here instead of in the window
    tell(1, 4, "what the X-ray shows")
    chain = PictureChain(scene_of(anatomy, gas=scenario.seed % 1000), rng=scenario.seed)
    tell(2, 4, "the body")
    back = mode == ASSESSMENT
    meshes = back_meshes(anatomy) if back else body_meshes(anatomy)
    tell(3, 4, "landmarks")
    anatomy.landmarks  # noqa: B018
    tell(4, 4, "ready")
    return Prepared(scenario, scenario.seed if seed is None else seed, anatomy, meshes, back, chain)
