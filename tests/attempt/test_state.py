"""The digest of a state: any bit of its own values counts, what follows from them does not."""

from dataclasses import fields, replace

import numpy as np
import pytest

from trainer.attempt.digest import digest_of
from trainer.attempt.state import AttemptState, Placement, Room, digest


def test_the_smallest_change_of_a_number_is_seen(states):
    state = states["needle"]
    inside = state.placement.inside
    deeper = inside.with_changes(depth=float(np.nextafter(state.needle_depth, 1e9)))
    changed = state.with_placement(inside=deeper)
    assert digest(changed) != digest(state)


def other(value):
    """Return a plain value that differs."""
    return 77 if value is None or isinstance(value, str | tuple | float | bool) else None


@pytest.mark.parametrize("name", [f.name for f in fields(AttemptState) if f.name != "anatomy"])
def test_every_own_value_counts(states, name):
    state = states["lead"]
    assert digest(replace(state, **{name: other(getattr(state, name))})) != digest(state)


@pytest.mark.parametrize("name", [f.name for f in fields(Placement) if not f.metadata.get("derived")])
def test_every_own_value_of_a_placement_counts(states, name):
    state = states["lead"]
    changed = state.with_placement(**{name: other(getattr(state.placement, name))})
    assert digest(changed) != digest(state)


@pytest.mark.parametrize("name", [f.name for f in fields(Room)])
def test_every_own_value_of_the_room_counts(states, name):
    state = states["lead"]
    changed = replace(state.room, **{name: other(getattr(state.room, name))})
    assert digest(replace(state, room=changed)) != digest(state)


def test_what_follows_from_the_others_does_not(states):
    state = states["lead"]
    assert digest(replace(state, anatomy=None)) == digest(state)
    assert digest(state.with_placement(check=None)) == digest(state)


def test_one_bit_of_one_node_of_the_lead_is_seen(states):
    lead = states["lead"].lead
    nodes = np.array(lead.nodes)
    nodes[-1, 2] = np.nextafter(nodes[-1, 2], 0.0)
    moved = states["lead"].with_placement(lead=replace(lead, shaft=lead.shaft._replace(nodes=nodes)))
    assert digest(moved) != digest(states["lead"])


def test_values_of_another_kind_are_told_apart():
    digests = {digest_of([("depth", value)]) for value in (None, 0, 0.0, -0.0, False, "0", ())}
    assert len(digests) == 7


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(TypeError, match="value must be plain data, got set: mark its field as derived"):
        digest_of([("depth", {1})])
