"""Turning a shaft in tissue against closed forms."""

import math

import numpy as np
import pytest

from meshes.tables.loader import number
from meshes.units import radians
from trainer.physics import needle_track as n
from trainer.physics import tissue_layers as t

EVEN = np.array([0.0]), np.array([t.MUSCLE])


@pytest.mark.parametrize("outside", [0.0, 20.0, 80.0])
def test_the_resting_point_in_even_tissue(outside):
    """Closed form for k constant: (L/3 + h/2) / (1/2 + h/L); 2/3 of L at h = 0, half of it far outside."""
    depth = 60.0
    wanted = (depth / 3.0 + outside / 2.0) / (0.5 + outside / depth)
    assert n.resting_point(*EVEN, depth=depth, outside=outside) == pytest.approx(wanted, rel=1e-12)


def test_the_resting_point_has_the_known_limits():
    assert n.resting_point(*EVEN, depth=60.0, outside=0.0) == pytest.approx(40.0)
    assert n.resting_point(*EVEN, depth=60.0, outside=1e9) == pytest.approx(30.0, rel=1e-6)


def test_the_resting_point_stays_where_it_is():
    """The force on the hub is the whole lateral load: no net moment about the hub."""
    starts, codes = np.array([0.0, 2.0, 12.0, 12.8]), np.array([t.SKIN, t.FAT, t.FASCIA, t.MUSCLE])
    depth, outside = 50.0, 40.0
    pivot = n.resting_point(starts, codes, depth=depth, outside=outside)
    s = (np.arange(200000) + 0.5) * depth / 200000
    names = [t.KEYS[c] for c in codes[np.searchsorted(starts, s, side="right") - 1]]
    stiffness = {name: number("tissue", f"{name}.lateral_stiffness") for name in set(names)}
    k = np.array([stiffness[name] for name in names])
    assert abs((k * (s - pivot) * (s + outside)).sum()) < 1e-3 * (k * s * (s + outside)).sum()
    load = (k * (s - pivot)).sum() * depth / 200000
    assert n.hub_force(starts, codes, depth=depth, pivot=pivot, angle=0.1) == pytest.approx(
        0.1 * abs(load), rel=1e-3
    )


def test_the_largest_turn_moves_some_tissue_to_its_limit():
    limit = number("tissue", "muscle.lateral_limit")
    assert n.largest_turn(*EVEN, depth=60.0, pivot=40.0) == pytest.approx(limit / 40.0)
    assert n.largest_turn(*EVEN, depth=0.0, pivot=0.0) == math.inf


def test_places_on_a_bent_track():
    track = np.array([[0.0, 0, 0], [0, 0, 10], [0, 3, 14]])
    point, direction = n.place_on(track, 12.5)
    np.testing.assert_allclose(point, [0.0, 1.5, 12.0])
    np.testing.assert_allclose(direction, [0.0, 0.6, 0.8])
    np.testing.assert_allclose(n.place_on(track, 10.0)[1], [0.0, 0.6, 0.8])
    np.testing.assert_allclose(n.place_on(track, 20.0)[0], [0.0, 6.0, 18.0])
    np.testing.assert_allclose(n.shortened(track, 5.0), [[0.0, 0, 0], [0, 0, 5]])


def test_turned_toward():
    z, y = np.array([0.0, 0, 1]), np.array([0.0, 1, 0])
    turned = n.turned_toward(z, y, radians(30.0))
    np.testing.assert_allclose(turned, [0.0, 0.5, math.sqrt(0.75)], atol=1e-12)
    np.testing.assert_allclose(n.turned_toward(z, y, radians(120.0)), y)


def test_tip_deflection_of_a_rod_in_elastic_ground():
    """Hetenyi: y = 2 P b / k. A 14 gauge tube in muscle: 0.6 mm at 0.9 N (our notes, computed apart)."""
    assert n.tip_deflection(0.9, rigidity=1.25e5, stiffness=0.06) == pytest.approx(0.56, abs=0.05)
    wide = n.tip_deflection(0.9, rigidity=1.25e5, stiffness=0.03)
    assert wide / n.tip_deflection(0.9, rigidity=1.25e5, stiffness=0.06) == pytest.approx(2.0**0.75)
