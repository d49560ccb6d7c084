"""Cases drawn at random: `draw:17` is the adult of seed 17 with the task of the ordinary adult."""

import re

from meshes.variation import draw_adult
from scenarios.anatomy_settings import AnatomySettings
from scenarios.scenario import LARGEST_SEED, Scenario, Task

PREFIX = "draw:"
# As in the built-in cases: short needles and long ones, so that every build can be reached.
TASK = Task(needle_lengths_mm=(89.0, 102.0, 114.0, 152.0, 178.0), largest_approach_deg=40.0)


def seed_of(case):
    """Return the seed of a name such as 'draw:17'.

    Raises
    ------
    ValueError
        If what follows the colon is no whole number from 0 to the largest seed.
    """
    digits = case.removeprefix(PREFIX)
    if not re.fullmatch(r"[0-9]{1,10}", digits) or int(digits) > LARGEST_SEED:
        raise ValueError(
            f"seed of a drawn case must be a whole number from 0 to {LARGEST_SEED}, got {digits!r}: "
            "write like draw:17"
        )
    return int(digits)


def drawn_case(seed):
    """Return the Scenario of the adult that `seed` draws; the same seed gives an equal one."""
    adult = draw_adult(rng=seed)
    size = (
        f"{adult.stature / 10.0:.0f} cm tall with a body mass index of {adult.parameters.body_mass_index:g}"
    )
    return Scenario(
        title=f"Adult drawn by seed {seed}",
        patient=f"Invented: a {adult.sex} {size}.",
        seed=seed,
        anatomy=AnatomySettings.of(adult.parameters),
        task=TASK,
    )
