"""A complication is counted once while it waits for a choice; after the choice it counts again."""

from collections import Counter

import pytest

from trainer.attempt import events as e
from trainer.attempt.needle_acts import _with
from trainer.attempt.state import Complication
from trainer.attempt.step import step
from trainer.physics.needle_consequences import INTRATHECAL, PUNCTURE


@pytest.fixture(scope="module")
def pierced(finished):
    """Return the state with the needle pushed on until its opening lies in the sac."""
    log = [done.state for done in finished.attempt.done]
    state = next(
        state for state in log if state.phase == "needle" and state.placement.depth is not None
        and state.placement.to_epidural is not None and state.placement.depth >= state.placement.to_epidural
    )  # fmt: skip
    for _ in range(40):
        if any(one.kind == INTRATHECAL for one in state.complications) or state.phase != "needle":
            break
        state = step(state, e.PushNeedle(0.5, "loose"))
    assert state.phase == "needle", "in the sac, not at the cord"
    return state


def out_and_in(state):
    """Pull the needle out of the sac and push it in again, by the same way."""
    depth = state.placement.depth
    state = step(state, e.WithdrawNeedle(5.0))
    for _ in range(20):
        if state.placement.depth >= depth - 0.05 or state.phase != "needle":
            return state
        state = step(state, e.PushNeedle(0.5, "loose"))
    return state


def kinds(state):
    return Counter(one.kind for one in state.complications)


def test_an_open_one_is_not_said_again(pierced):
    again = out_and_in(pierced)
    assert kinds(pierced)[INTRATHECAL] == 1
    assert kinds(again)[INTRATHECAL] == kinds(again)[PUNCTURE] == 1


def test_an_answered_one_that_happens_again_is_new(pierced):
    state = pierced
    while any(not one.choice for one in state.complications):
        state = step(state, e.ChooseAfterComplication("pull back"))
    again = out_and_in(state)
    assert kinds(again)[INTRATHECAL] == 2
    assert [one.choice for one in again.complications if one.kind == INTRATHECAL] == ["pull back", ""]


def test_what_was_hidden_comes_to_be_seen_and_other_passes_count():
    hidden = Complication(PUNCTURE, 4, seen=False, needle_pass=1)
    seen = Complication(PUNCTURE, 9, seen=True, needle_pass=1)
    assert _with((hidden,), [seen]) == (Complication(PUNCTURE, 4, seen=True, needle_pass=1),)
    assert _with((seen,), [hidden]) == (seen,)
    other = Complication(PUNCTURE, 9, seen=True, needle_pass=2)
    second = Complication(PUNCTURE, 9, seen=True, needle=1, needle_pass=1)
    assert _with((hidden,), [other, second]) == (hidden, other, second)
