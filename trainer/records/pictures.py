"""X-ray pictures of where an attempt stands."""

import numpy as np

from meshes.levels import split_interspace
from meshes.units import degrees, radians
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_picture import take_picture
from trainer.physics.xray_raster import StillAttenuation
from trainer.physics.xray_scene import still_surfaces, tool_surfaces

# Frontal, oblique so that the laminae open, lateral.
VIEWS = ((0.0, "AP"), (radians(50.0), "oblique"), (radians(90.0), "lateral"))
PIXELS = 640


def tools_of(state):
    """Return the Surfaces of needle and lead where an attempt stands."""
    needles = [shown for one in state.placements if (shown := _needle_shown(state, one)) is not None]
    leads = [(one.lead.nodes, one.lead.properties) for one in state.placements if one.lead is not None]
    return tool_surfaces(needles=needles, leads=leads)


def still_pictures(state):
    """Return the StillAttenuation of the patient of an attempt: what does not move between its pictures."""
    return StillAttenuation(still_surfaces(state.anatomy, gas=state.scenario.seed))


def _needle_shown(state, placement):
    """Return (tip, direction, needle) that shows; one that is held to the skin lies with its tip there."""
    if placement.inside is not None:
        return placement.inside.tip, placement.inside.direction, placement.inside.needle
    if state.phase == "picture" and placement.check is not None:
        return placement.check.entry, placement.check.direction, placement.needle
    return None


def standard_views(state, *, pixels=PIXELS, still=None):
    """Return [(name, picture (pixels, pixels) uint8)]: AP, oblique and lateral, over needle and lead.

    `still` of `still_pictures` saves work where several moments of one attempt are shown. The noise of each
    picture is drawn from the attempt's seed, so a report repeats to the last bit.
    """
    still, tools = still or still_pictures(state), tools_of(state)
    middle = _between_target_and_entry(state)
    children = np.random.SeedSequence(state.seed).spawn(len(VIEWS))
    views = []
    for (orbit, words), child in zip(VIEWS, children, strict=True):
        carm = CArm(tuple(middle), orbit, 0.0, pixels=pixels)
        picture = take_picture(still, tools, carm=carm, rng=np.random.default_rng(child))
        views.append((f"{words}, {degrees(orbit):.0f}°", picture))
    return views


def _between_target_and_entry(state):
    """Return the isocentre half way between the target and the level below the entry, so that both show."""
    task = state.scenario.task
    levels = (task.target_level, split_interspace(task.interspace)[1])
    return np.mean([isocentre_at(state.anatomy, level) for level in levels], axis=0)
