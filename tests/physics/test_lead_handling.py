"""Random handling in ten bodies: no NaN, no tunnelling, and what is cut short comes to rest later."""

import pytest
from handling import Handled, bodies, handled

SOME = (1, 2, 7)  # a stenosis, an adhesion, a strong lordosis under thick flava


@pytest.fixture(scope="module")
def canals(anatomy):
    return bodies(anatomy)


def all_of(canals, *, seeds, commands):
    came = Handled()
    for k, canal in enumerate(canals):
        for seed in range(seeds):
            came.add(handled(canal, seed=[seed, k], commands=commands))
    return came


def check(came):
    """The penalty lets a lead sink into the wall by less than 0.05 mm, and the rod does not stretch."""
    assert came.overlap <= 0.05
    assert came.stretch < 1e-3
    assert came.unconverged <= 0.002 * came.commands


def test_random_handling_keeps_the_lead_in_the_canal(canals):
    came = all_of([canals[k] for k in SOME], seeds=1, commands=60)
    check(came)
    assert came.carried_on < 0.1 * came.commands


@pytest.mark.sweep
def test_random_handling_300_times(canals):
    came = all_of(canals, seeds=30, commands=60)
    assert came.commands == 18000
    check(came)
