"""Events as records: nothing is lost on the way to a line of JSON and back, and rubbish is refused."""

import dataclasses
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.attempt import events

NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
ANY_EVENT = st.one_of(
    st.builds(events.PlanNeedle, st.text(), st.text(), NUMBERS, NUMBERS, NUMBERS, NUMBERS, NUMBERS),
    st.builds(events.TakePicture, NUMBERS, NUMBERS, st.text()),
    st.builds(events.AdvanceNeedle, NUMBERS),
    st.builds(events.AdvanceLead, NUMBERS),
    st.builds(events.TurnLead, NUMBERS),
    *(st.just(kind()) for kind in events.EVENTS if not dataclasses.fields(kind)),
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
        ({"event": "Undo"}, "event must be one of PlanNeedle, .*, got 'Undo'"),
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
        ({"event": "TakePicture", "orbit": 0, "tilt": 0, "centre": 8}, "centre must be text, got 8"),
    ],
)
def test_a_record_that_is_no_event_is_refused(record, words):
    with pytest.raises(ValueError, match=words):
        events.from_record(record)


def test_a_whole_number_is_a_number():
    assert events.from_record({"event": "AdvanceLead", "millimetres": 2}) == events.AdvanceLead(2.0)
