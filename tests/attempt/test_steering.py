"""The performer's hand against one that never turns the hub, and a flat needle against a steep one.

That off-line leads must be steered and steep needles trouble a lead is common practice; the shares are ours.
"""

import numpy as np
import pytest
from steering import adult, mouth_of, steered

from meshes.units import radians
from trainer.physics.mouth import mouth_from_placement


def test_a_lead_from_a_fair_mouth_is_steered_to_t8(anatomy):
    mouth = mouth_from_placement(
        anatomy.canal, interspace="T12-L1", offset=3.0, approach=radians(32.0), medial=radians(10.0)
    )
    expert = steered(anatomy, mouth, seed=1)
    assert expert.good and expert.redirections <= 9
    assert expert.unconverged <= 2


@pytest.mark.sweep
def test_sixty_adults():
    experts, naive, steep = [], [], []
    for seed in range(60):
        anatomy = adult(seed)
        mouth = mouth_of(anatomy, seed)
        experts.append(steered(anatomy, mouth, seed=seed))
        naive.append(steered(anatomy, mouth, seed=seed, naive=True))
        if seed < 12:
            steep.append(steered(anatomy, mouth_of(anatomy, seed, approach_deg=60.0), seed=seed, naive=True))
    assert np.mean([run.good for run in experts]) >= 0.9
    assert np.median([run.redirections for run in experts]) <= 6
    assert np.mean([run.good for run in naive]) < 0.6
    for name in ("push", "dent"):
        flat = [getattr(run, name) for run in naive[:12]]
        assert np.median([getattr(run, name) for run in steep]) > np.median(flat)
