"""The slope of the laminae against what is published and practised of the contralateral oblique view.

Mid-thoracic, 30 patients: the tip of the needle lies on or just past the ventral interlaminar line in 96.7 %
of pictures at the angle of the lamina measured on magnetic resonance, no different at 60 degrees, 63.3 % at
50, 26.7 % at 40 (prospective study, Seoul, abstract): the laminae slope by about 60 degrees. Lumbar: about 45
degrees (from memory).
"""

import numpy as np
import pytest

from meshes.units import degrees, radians
from trainer.physics.lamina_angle import lamina_angle
from trainer.physics.picture_reading import read_oblique
from trainer.physics.xray_carm import CArm, isocentre_at

MID_THORACIC, LUMBAR = ("T6", "T7", "T8", "T9"), ("L2", "L3", "L4", "L5")


def mean_angle_deg(anatomy, levels):
    return degrees(np.mean([lamina_angle(anatomy, level, side="left") for level in levels]))


def test_mid_thoracic_laminae_slope_by_about_sixty_degrees(anatomy):
    assert mean_angle_deg(anatomy, MID_THORACIC) == pytest.approx(60.0, abs=8.0)


def test_lumbar_laminae_slope_by_about_forty_five_degrees(anatomy):
    assert mean_angle_deg(anatomy, LUMBAR) == pytest.approx(45.0, abs=8.0)


def test_forty_degrees_is_too_little_at_mid_thorax(anatomy):
    for level in MID_THORACIC:
        carm = CArm(isocentre_at(anatomy, level), radians(40.0))
        read = read_oblique(anatomy, level, carm=carm, side="left")
        assert read.difference < 0.0
        assert not read.fits
