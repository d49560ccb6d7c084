"""What a bolster does to the windows, against the lever arm of the laminae and measured flexion.

The laminae lie 33-38 mm behind the middle of the disc (measured on open sets): 0.58-0.66 mm a degree, asked
for as 0.6 give or take 0.1 anywhere from the midline to 6 mm beside it. Eight cadaver spines opened by 3-6 mm
from neutral to fully flexed (Barrow Neurological Institute repository, item 1211, abstract).
"""

import pytest

from meshes.findings import InterspinousImplant
from meshes.measure_windows import measure_window
from meshes.segments import bolster_flexion, lordosis_extension
from meshes.units import degrees, radians

BENT = ("T12-L1", "L1-L2", "L2-L3", "L3-L4", "L4-L5", "L5-S1")
BOLSTER = radians(12.5)


@pytest.fixture(scope="module")
def bent(anatomy):
    return anatomy.with_pose(bolster=BOLSTER)


@pytest.mark.parametrize("interspace", BENT)
def test_a_degree_of_flexion_opens_the_gap_by_0_6_mm(anatomy, bent, interspace):
    flexion = degrees(bolster_flexion(bent.parameters)[interspace.split("-")[0]])
    assert flexion > 1.5
    flat, open_ = (measure_window(a, interspace).gap for a in (anatomy, bent))
    for lateral in (0.0, 3.0, 6.0):
        assert (open_[lateral] - flat[lateral]) / flexion == pytest.approx(0.6, abs=0.1), lateral


@pytest.mark.parametrize("interspace", BENT[1:])
def test_a_degree_of_lordosis_closes_the_gap_by_0_6_mm(anatomy, interspace):
    deep = anatomy.with_pose(lumbar_lordosis=radians(58.0))
    extension = degrees(lordosis_extension(deep.parameters)[interspace.split("-")[0]])
    rest, closed = (measure_window(a, interspace).gap for a in (anatomy, deep))
    # On the midline of L5-S1 the spinous process comes down on the tubercle of S1: nearer than the laminae.
    for lateral in (3.0, 6.0) if interspace == "L5-S1" else (0.0, 3.0, 6.0):
        assert (rest[lateral] - closed[lateral]) / extension == pytest.approx(0.6, abs=0.1), lateral


def test_full_flexion_opens_as_in_cadavers(anatomy):
    """The range of flexion is about twice a bolster of 12.5 degrees: bounds kept wide."""
    flexed = anatomy.with_pose(bolster=radians(25.0))
    for interspace in ("L2-L3", "L3-L4", "L4-L5", "L5-S1"):
        opened = measure_window(flexed, interspace).gap[3.0] - measure_window(anatomy, interspace).gap[3.0]
        assert 2.0 <= opened <= 6.0, interspace


def test_the_segment_of_a_spacer_does_not_open(anatomy, bent):
    held = anatomy.with_pose(bolster=BOLSTER, findings=(InterspinousImplant("L3-L4"),))
    for interspace in ("L3-L4", "L4-L5"):
        gap = {name: measure_window(a, interspace).gap[6.0] for name, a in (("held", held), ("free", bent))}
        flat = measure_window(anatomy, interspace).gap[6.0]
        if interspace == "L3-L4":
            assert gap["held"] == pytest.approx(flat, abs=0.05)
        else:
            assert gap["held"] == pytest.approx(gap["free"], abs=0.05) and gap["held"] > flat + 0.5
