"""Events as records: nothing is lost on the way to a line of JSON and back, and rubbish is refused."""

import dataclasses
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.attempt import events

NUMBERS = st.floats(-1e8, 1e8)
VALUES = {float: NUMBERS, str: st.text(), bool: st.booleans()}
KINDS = (*events.EVENTS, events.Undo)
ANY_EVENT = st.one_of(
    *(st.builds(kind, *(VALUES[f.type] for f in dataclasses.fields(kind))) for kind in KINDS)
)


@given(ANY_EVENT)
def test_a_line_of_json_keeps_every_bit(event):
    line = json.dumps(events.to_record(event), allow_nan=False)
    back = events.from_record(json.loads(line))
    assert type(back) is type(event)
    assert repr(back) == repr(event)


def test_events_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        events.AdvanceLead(1.0).millimetres = 2.0


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ({"event": "Jump"}, "event must be one of ReadItem, .*, got 'Jump'"),
        ({"millimetres": 2.0}, "event must be one of .*, got None"),
        ({"event": "AdvanceLead"}, "AdvanceLead must have the values millimetres, got none"),
        ({"event": "AdvanceLead", "mm": 2.0}, "AdvanceLead must have the values millimetres, got mm"),
        ({"event": "PassLead", "speed": 2.0}, "PassLead must have the values none, got speed"),
        ({"event": "AdvanceLead", "millimetres": "2"}, "millimetres must be a finite number, got '2'"),
        ({"event": "AdvanceLead", "millimetres": True}, "millimetres must be a finite number, got True"),
        (
            {"event": "AdvanceLead", "millimetres": float("nan")},
            "millimetres must be a finite number, got nan",
        ),
        ({"event": "ReadItem", "item": 8}, "item must be text, got 8"),
        ({"event": "MoveNeedleStylet", "inside": 1}, "inside must be true or false, got 1"),
        ({"event": "AdvanceLead", "millimetres": 10**400}, "millimetres must be a finite number, got 1000"),
    ],
)
def test_a_record_that_is_no_event_is_refused(record, words):
    with pytest.raises(ValueError, match=words):
        events.from_record(record)


def test_a_whole_number_is_a_number():
    assert events.from_record({"event": "AdvanceLead", "millimetres": 2}) == events.AdvanceLead(2.0)
