"""The report of a finished attempt: whole, self-contained, and saying what the attempt says."""

import base64
import csv
import json
import re
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from meshes.tables import loader
from trainer.attempt import events as e
from trainer.physics.readings import read_lead
from trainer.records.course import MOVES, WORDS, course
from trainer.records.figures import contact_sections, lead_route, needle_section
from trainer.records.pictures import standard_views
from trainer.records.report import (
    assumed_figures,
    report_text,
    side_words,
    write_report,
)
from trainer.records.result import result_of


class Reader(HTMLParser):
    """Collects what a browser would fetch and what a person would read; refuses unbalanced tags."""

    VOID = frozenset(("meta", "img", "br", "link", "hr"))

    def __init__(self):
        super().__init__()
        self.open, self.sources, self.alternatives, self.words = [], [], [], []

    def handle_starttag(self, tag, attributes):
        values = dict(attributes)
        self.sources += [values[name] for name in ("src", "href") if name in values]
        if tag == "img":
            self.alternatives.append(values.get("alt", ""))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, text):
        if self.open and self.open[-1] not in ("style", "script"):
            self.words.append(text)


@pytest.fixture(scope="module")
def text(finished):
    return report_text(finished.attempt)


@pytest.fixture(scope="module")
def read(text):
    reader = Reader()
    reader.feed(text)
    assert reader.open == []
    return reader


def test_nothing_is_fetched_from_elsewhere(read):
    assert len(read.sources) == 13, "nine X-ray pictures of three moments, the way in, three drawings"
    assert all(source.startswith("data:image/png;base64,") for source in read.sources)


def test_every_picture_is_whole_and_described(read):
    for source in read.sources:
        image = Image.open(BytesIO(base64.b64decode(source.split(",", 1)[1])))
        grey = np.asarray(image.convert("L"))
        assert min(grey.shape) >= 250
        assert grey.std() > 10.0, "an empty picture"
    assert all(read.alternatives)


def test_it_says_the_cautions_the_outcome_and_what_it_rests_on(read, finished):
    words = re.sub(r"\s+", " ", " ".join(read.words))
    result = result_of(finished.attempt)
    assert "Training aid only" in words
    assert "Not for planning or treating a patient" in words
    assert "licensed supervision" in words
    assert result["lead"]["tip_level"] in words
    assert result["digest"] in words
    assert "tissue: memory force" in words, "assumed figures are listed"
    for reason in result["needle"]["reasons"]:
        assert reason in words


def test_the_same_attempt_makes_the_same_report(text, finished):
    assert report_text(finished.attempt) == text


def test_an_attempt_that_ended_early_has_a_report_too(finished):
    from trainer.attempt.attempt import Attempt

    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    attempt.do(e.FinishAttempt())
    reader = Reader()
    reader.feed(report_text(attempt))
    assert len(reader.sources) == 4, "three X-ray pictures and the way in, no needle and no lead to draw"


def test_writing_leaves_nothing_half_done(tmp_path, finished, monkeypatch):
    assert write_report(tmp_path, finished.attempt).name == "report.html"

    def fail(attempt, score):
        raise OSError("disk full")

    monkeypatch.setattr("trainer.records.report.report_text", fail)
    before = (tmp_path / "report.html").read_bytes()
    with pytest.raises(OSError, match="disk full"):
        write_report(tmp_path, finished.attempt)
    assert [file.name for file in tmp_path.iterdir()] == ["report.html"]
    assert (tmp_path / "report.html").read_bytes() == before


def test_the_result_is_plain_and_agrees_with_the_reading(finished):
    attempt = finished.attempt
    result = json.loads(json.dumps(result_of(attempt), allow_nan=False))
    reading = read_lead(attempt.state.lead, attempt.state.anatomy)
    lead = result["lead"]
    assert lead["placed"] is True
    assert lead["tip_offset_mm"] == pytest.approx(reading.tip.axis_offset, abs=0.05)
    assert [c["region"] for c in lead["contacts"]] == [c.region for c in reading.contacts]
    assert result["needle"]["dural_punctures"] == 0


def test_a_lead_off_its_target_is_not_called_placed(finished):
    from trainer.attempt.attempt import Attempt

    attempt = Attempt(finished.attempt.scenario, anatomy=finished.attempt.anatomy)
    for event in finished.attempt.events[:-1]:
        attempt.do(event)
    attempt.do(e.AdvanceLead(-12.0))
    lead = result_of(attempt)["lead"]
    assert lead["placed"] is False
    assert lead["below_target_mm"] > 8.0


@pytest.mark.parametrize(
    ("offset", "words"), [(1.6, "1.6 mm L"), (-0.9, "0.9 mm R"), (0.0, "0.0 mm"), (None, "–")]
)
def test_sides_in_words(offset, words):
    assert side_words(offset) == words


def test_assumed_figures_stand_in_the_unit_beside_them():
    """A figure in degrees is told in degrees, though it is kept in radians."""
    told = {figure["name"]: figure for figure in assumed_figures()}
    for name in ("lead", "needle"):
        with open(Path(loader.__file__).with_name(f"{name}.csv"), encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                if row["status"] == "assumed":
                    words = row["key"].replace(".", ": ").replace("_", " ")
                    assert float(told[words]["value"]) == pytest.approx(float(row["value"]), rel=1e-5)
    assert any(figure["unit"] == "deg" for figure in told.values())


def test_the_course_counts_neighbours_together():
    acts = [
        e.TakePicture(),
        e.TakePicture(),
        e.PlaceNeedle(),
        e.PushNeedle(30.0),
        e.PushNeedle(2.5),
        e.WithdrawNeedle(1.0),
    ]
    assert course(acts) == [
        "Took a picture, 2 times",
        "Put the needle through the skin",
        "Advanced the needle 32.5 mm",
        "Withdrew the needle 1.0 mm",
    ]


def ink(png):
    """Return the share of pixels that are not white."""
    return float((np.asarray(Image.open(BytesIO(png)).convert("L")) < 250).mean())


def test_drawings_show_more_than_axes(finished):
    state = finished.attempt.state
    reading = read_lead(state.lead, state.anatomy)
    properties = state.lead.properties
    assert ink(needle_section(state.anatomy, state.check, state.needle, tip_at=state.needle_depth)) > 0.25
    assert ink(lead_route(state.anatomy, reading, state.lead.nodes[1:], properties)) > 0.4
    assert ink(contact_sections(state.anatomy, reading, radius=properties.radius)) > 0.15


def test_views_are_named_by_angle_and_show_the_tools(finished):
    state = finished.attempt.state
    views = dict(standard_views(state, pixels=256))
    without = dict(standard_views(state.with_placement(lead=None, inside=None), pixels=256))
    assert list(views) == ["AP, 0°", "oblique, 50°", "lateral, 90°"]
    for name, picture in views.items():
        assert picture.shape == (256, 256)
        darker = without[name].astype(int) - picture.astype(int)
        assert (darker > 15).sum() > 100, (name, "metal is darker than what it hides")


def test_every_act_has_words():
    assert set(MOVES) | set(WORDS) == set(e.EVENTS)
