"""What a lead feels of a stenosis, an adhesion and a bed of scar on its way up.

Directions are common practice (scar and adhesions hold a lead, a tight canal presses it into the dura); no
published figure was found for any of them.
"""

from typing import NamedTuple

import numpy as np
import pytest

from meshes import findings as kinds
from meshes.anatomy import Anatomy
from meshes.units import radians
from trainer.physics.lead import LeadProperties, advance, insert_lead
from trainer.physics.mouth import mouth_from_placement

TRAVEL = 75  # [mm] from T12-L1 past T10-T11


class Way(NamedTuple):
    """Push at every millimetre [N], deepest dent of the dura beyond the mouth, and near T10-T11 [mm]."""

    push: np.ndarray
    dent: float
    dent_at_disc: float


def travelled(anatomy, *findings):
    """Return the Way of an unsteered lead through the same bones under other findings."""
    parameters = anatomy.parameters.with_changes(findings=findings)
    canal = Anatomy(parameters, anatomy.bones, anatomy.poses).canal
    mouth = mouth_from_placement(
        canal, interspace="T12-L1", offset=2.0, approach=radians(32.0), medial=radians(10.0)
    )
    mark = canal.interspace("T10-T11")
    disc = 0.5 * (mark.disc_caudal + mark.disc_cranial)
    lead, push, dent, near = insert_lead(canal, mouth, LeadProperties()), [], 0.0, 0.0
    for _ in range(TRAVEL):
        lead = advance(lead, 1.0)
        push.append(lead.push)
        station, depth = lead.place[:, 0], lead.depth[:, 1]
        dent = max(dent, depth[station > mark.flavum_caudal - 30.0].max(initial=0.0))
        near = max(near, depth[np.abs(station - disc) < 8.0].max(initial=0.0))
    assert lead.converged
    return Way(np.array(push), dent, near)


@pytest.fixture(scope="module")
def healthy(anatomy):
    return travelled(anatomy)


def test_stenosis_makes_the_lead_dent_the_dura_there(anatomy, healthy):
    mild, severe = (travelled(anatomy, kinds.CentralStenosis("T10-T11", mm)) for mm in (3.0, 6.0))
    assert severe.dent_at_disc > mild.dent_at_disc + 0.2
    assert severe.dent_at_disc > healthy.dent_at_disc + 0.6
    assert mild.push[:30] == pytest.approx(healthy.push[:30], abs=0.02)


def test_adhesion_raises_the_push_from_where_it_lies(anatomy, healthy):
    patch = travelled(anatomy, kinds.Adhesion("T11", friction=5.0, hold=15.0))
    # Freely up to the patch, about 25 mm from the mouth.
    assert patch.push[:20] == pytest.approx(healthy.push[:20], abs=0.02)
    assert patch.push.max() > 2.0 * healthy.push.max()


def test_friction_alone_is_felt_less_than_friction_and_hold(anatomy, healthy):
    slippery, sticky = (travelled(anatomy, kinds.Adhesion("T11", 5.0, hold)) for hold in (1.0, 15.0))
    assert healthy.push.max() - 0.02 < slippery.push.max() < sticky.push.max()


def test_dense_bed_of_a_laminectomy_holds_the_lead_and_a_free_one_does_not(anatomy, healthy):
    free, dense = (travelled(anatomy, kinds.Laminectomy("T11", scar=scar)) for scar in (0.0, 1.0))
    assert free.push.max() < 1.4 * healthy.push.max()
    assert dense.push.max() > 2.5 * healthy.push.max()
    assert dense.dent > free.dent


def test_lipomatosis_gives_the_lead_room(anatomy, healthy):
    fat = travelled(anatomy, kinds.EpiduralLipomatosis("T9", "T12", 3.0))
    assert fat.dent_at_disc <= healthy.dent_at_disc
    assert fat.push.max() < 1.2 * healthy.push.max()
