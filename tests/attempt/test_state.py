"""The digest of a state: any bit of its own values counts, what follows from them does not."""

from dataclasses import replace

import numpy as np
import pytest

from trainer.attempt.state import AttemptState, digest


def test_the_smallest_change_of_a_number_is_seen(states):
    state = states["needle"]
    changed = replace(state, needle_depth=float(np.nextafter(state.needle_depth, 1e9)))
    assert digest(changed) != digest(state)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("seed", 1),
        ("phase", "needle"),
        ("event_count", 1),
        ("pictures", ()),
        ("aim", None),
        ("needle", None),
        ("needle_depth", None),
        ("touched_bone", "L1, lamina"),
        ("dural_punctures", 3),
        ("needle_passes", 9),
        ("lead_passes", 9),
        ("lead", None),
        ("largest_push", 9.0),
        ("largest_dent", 9.0),
        ("scenario", None),
    ],
)
def test_every_own_value_counts(states, name, value):
    assert digest(replace(states["lead"], **{name: value})) != digest(states["lead"])


@pytest.mark.parametrize("name", ["anatomy", "check"])
def test_what_follows_from_the_others_does_not(states, name):
    assert digest(replace(states["lead"], **{name: None})) == digest(states["lead"])


def test_one_bit_of_one_node_of_the_lead_is_seen(states):
    lead = states["lead"].lead
    nodes = np.array(lead.nodes)
    nodes[-1, 2] = np.nextafter(nodes[-1, 2], 0.0)
    moved = replace(states["lead"], lead=replace(lead, shaft=lead.shaft._replace(nodes=nodes)))
    assert digest(moved) != digest(states["lead"])


def test_values_of_another_kind_are_told_apart():
    bare = AttemptState(scenario=None, seed=1, anatomy=None)
    digests = {digest(replace(bare, needle_depth=value)) for value in (None, 0, 0.0, -0.0, False, "0", ())}
    assert len(digests) == 7


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(TypeError, match="value must be plain data, got set: mark its field as derived"):
        digest(AttemptState(scenario=None, seed=1, anatomy=None, needle_depth={1}))
