"""Sac, cord and epidural space as built: against the tables, a published equation, and rays on the dura."""

import numpy as np
import pytest
import trimesh

from meshes.measure_canal import measure_canal, measure_interspace_canal, measure_level_canal
from meshes.tables.loader import number


@pytest.fixture(scope="module")
def measured(anatomy):
    return measure_canal(anatomy)


@pytest.mark.parametrize("level", ["T7", "T9", "T11", "L1", "L3", "L5"])
def test_sac_against_the_table(measured, level):
    """Within 0.3 mm: the figures of neighbouring levels are smoothed, and a near wall dents the sac."""
    sizes = measured[0][level]
    assert sizes.sac_depth == pytest.approx(number("neuraxis", f"{level}.sac_depth"), abs=0.3)
    assert sizes.sac_width == pytest.approx(number("neuraxis", f"{level}.sac_width"), abs=0.3)


@pytest.mark.parametrize("level", ["T7", "T9", "T11"])
def test_cord_and_fluid_against_the_table(measured, level):
    sizes = measured[0][level]
    prone = number("neuraxis", "prone_share") * number("neuraxis", f"{level}.prone_gain")
    assert sizes.cord_depth == pytest.approx(number("neuraxis", f"{level}.cord_depth"), abs=0.2)
    assert sizes.cord_width == pytest.approx(number("neuraxis", f"{level}.cord_width"), abs=0.2)
    expected = number("neuraxis", f"{level}.dorsal_csf") + prone
    assert sizes.dorsal_csf == pytest.approx(expected, abs=0.2)


def test_no_cord_below_the_conus(measured):
    """The conus ends at the lower third of L1 on average (Saifuddin et al., Spine 1998;23:1452, n=504)."""
    levels = measured[0]
    assert levels["T12"].cord_depth > 7.0
    for level in ("L2", "L3", "L4", "L5", "S1"):
        assert levels[level].cord_depth is levels[level].cord_width is levels[level].dorsal_csf is None


def test_depth_at_the_second_lumbar_interspace(anatomy, measured):
    """17.80 + 0.978 BMI (Ravi et al., J Anaesth Clin Pharmacol 2011;27:39): 42.2 mm at 25 kg/m²."""
    assert anatomy.parameters.body_mass_index == 25.0
    assert measured[1]["L2-L3"].skin_to_epidural == pytest.approx(17.80 + 0.978 * 25.0, abs=0.1)


def test_depth_follows_the_slider(anatomy):
    deep = anatomy.with_pose(skin_to_epidural=80.0)
    assert measure_interspace_canal(deep, "L2-L3").skin_to_epidural == pytest.approx(80.0, abs=0.1)


def test_saw_tooth(measured):
    """Narrowest under the cranial lamina edge, deepest at the upper attachment of the flavum
    (shape: Hogan, Anesthesiology 1991;75:767)."""
    assert list(measured[1]) == [
        *("T6-T7", "T7-T8", "T8-T9", "T9-T10", "T10-T11", "T11-T12"),
        *("T12-L1", "L1-L2", "L2-L3", "L3-L4", "L4-L5", "L5-S1"),
    ]
    for sizes in measured[1].values():
        assert sizes.least_epidural_depth < sizes.epidural_depth < sizes.greatest_epidural_depth


@pytest.mark.parametrize("level", ["T8", "L2"])
def test_sac_agrees_with_rays_on_the_mesh_of_the_dura(anatomy, measured, level):
    """From the axis to the dura of the exported mesh, cast by embree through trimesh."""
    (mesh,) = anatomy.dura.values()
    dura = trimesh.Trimesh(*mesh, process=False)
    centre, _, left, dorsal = anatomy.canal.frame_at(anatomy.canal.station(level))
    directions = np.array([dorsal, -dorsal, left, -left])
    place, ray, _ = dura.ray.intersects_location(np.tile(centre, (4, 1)), directions, multiple_hits=False)
    radius = np.linalg.norm(place - centre, axis=1)[np.argsort(ray)]
    assert measured[0][level].sac_depth == pytest.approx(radius[0] + radius[1], abs=0.05)
    assert measured[0][level].sac_width == pytest.approx(radius[2] + radius[3], abs=0.05)


def test_refuses_what_the_chart_does_not_cover(anatomy):
    with pytest.raises(ValueError, match="level must be one of"):
        measure_level_canal(anatomy.canal, "S2")
    with pytest.raises(ValueError, match="interspace must be one of"):
        measure_interspace_canal(anatomy, "S1-S2")
    assert measure_level_canal(anatomy.canal, "S1").level == "S1"
    assert measure_interspace_canal(anatomy, "L5-S1").interspace == "L5-S1"
