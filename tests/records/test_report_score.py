"""The judged part of the report: score, advice, timeline, key moments, way in; hostile words escaped."""

import re
from dataclasses import replace
from html import unescape
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from scipy.spatial import Delaunay

from trainer.attempt import events as e
from trainer.attempt.attempt import Attempt
from trainer.records.course import phase_spans, stretches
from trainer.records.key_moments import key_moments
from trainer.records.report import SOURCE_MARKS, report_text, timeline
from trainer.records.way_in import hull_outline, ideal_corridor, way_in
from trainer.scoring.log import Log
from trainer.scoring.score import score_attempt
from trainer.scoring.words import FLAWLESS, advice, kind_of

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)> \"' & {{ 7*7 }} {% raw %}"


@pytest.fixture(scope="module")
def score(finished):
    return score_attempt(finished.attempt)


@pytest.fixture(scope="module")
def text(finished, score):
    return report_text(finished.attempt, score)


@pytest.fixture(scope="module")
def log(finished):
    return Log.of(finished.attempt)


def words_of(text):
    """Return what a person reads of an HTML text: no tags, single blanks."""
    text = re.sub(r"<style>.*?</style>|<[^>]*>", " ", text, flags=re.DOTALL)
    return re.sub(r"[\s\u00a0]+", " ", unescape(text))


def test_every_criterion_stands_with_found_asked_points_and_source(text, score):
    words = words_of(text)
    assert f"{score.percent:.0f} of 100" in words
    for item in score.items:
        assert item.title in words and item.asked in words
        assert f"{item.earned:.1f} of {item.points:g} {SOURCE_MARKS[item.status]} {item.status}" in words
        if kind_of(item) != "met":
            assert item.remedy in words
    for told in advice(score):
        assert told in words


def test_advice_is_of_the_dearest_faults_and_praise_where_nothing_was_lost(score):
    assert len(score.items) > 3
    items = [replace(item, earned=item.points, failed=False) for item in score.items]
    assert advice(replace(score, items=tuple(items))) == [FLAWLESS]
    small, large, critical = items[:3]
    items[0] = replace(small, earned=0.0, points=1.0, remedy="Small.")
    items[1] = replace(large, earned=0.0, points=9.0, remedy="Large.")
    items[2] = replace(critical, earned=0.0, points=2.0, failed=True, remedy="Critical.")
    assert advice(replace(score, items=tuple(items))) == ["Critical.", "Large."]


def test_whatever_a_person_typed_is_escaped(finished):
    case = finished.attempt.scenario.model_copy(update={"title": HOSTILE, "patient": HOSTILE})
    attempt = Attempt(case, anatomy=finished.attempt.anatomy)
    attempt.do(e.FinishAttempt())
    hostile = report_text(attempt)
    assert "<script" not in hostile and "<img src=x" not in hostile
    assert "{{ 7*7 }}" in unescape(hostile), "shown as typed, not worked out"
    assert hostile.count("&lt;script&gt;") == 3, "title of the page, heading, patient"


def test_faults_stand_with_the_acts_they_happened_at(log):
    plain = stretches(log)
    assert [one.first for one in plain] == [1, *(one.last + 1 for one in plain[:-1])]
    assert plain[-1].last == len(log.acts)
    assert {act.before.phase for act in log.acts} == {phase for phase, _, _ in phase_spans(log)}
    k = next(k for k, act in enumerate(log.acts) if isinstance(act.event, e.PushNeedle))
    pierced = log.acts[k].after.with_placement(
        counts=replace(log.acts[k].after.placement.counts, dural_punctures=1)
    )
    acts = (*log.acts[:k], log.acts[k]._replace(after=pierced))
    faulty = stretches(Log(log.first, acts))
    assert faulty[-1].faults == ("The dura is open",)
    marks = timeline(Log(log.first, acts))["marks"]
    assert (marks[-1]["words"], marks[-1]["fault"]) == ("The dura is open", "missed")
    assert marks[-1]["left"] == pytest.approx(100.0 * (k + 0.5) / (k + 1))


def test_steps_and_tests_of_the_needle_are_told_together(log):
    told = [one.words for one in stretches(log)]
    steps = re.compile(r"Advanced the needle [\d.]+ mm in \d+ steps, the syringe pressed \d+ times")
    assert any(steps.fullmatch(words) for words in told)
    pushed = sum(act.event.millimetres for act in log.acts_of(e.PushNeedle))
    found = sum(float(t.split()[3]) for t in told if t.startswith("Advanced the needle"))
    assert found == pytest.approx(pushed, abs=0.06 * len(told))


def test_key_moments_come_in_order_and_are_what_they_say(log):
    moments = key_moments(log)
    assert [words for words, _ in moments] == [
        "The needle enters the epidural space", "Lead through the needle", "The end",
    ]  # fmt: skip
    entered, passed, end = (state for _, state in moments)
    assert entered.needle_depth >= entered.placement.to_epidural and entered.lead is None
    before = next(act.before for act in log.acts if act.after is entered)
    assert before.needle_depth < before.placement.to_epidural
    assert passed.lead is not None and end is log.last
    assert entered.event_count < passed.event_count < end.event_count


def test_the_outline_holds_the_corridor_and_the_wanted_needle(log):
    hull = ideal_corridor(log.last)
    seen = hull[0][:, [1, 2]]
    inside = Delaunay(hull_outline(seen)).find_simplex(seen * (1.0 - 1e-9) + seen.mean(axis=0) * 1e-9)
    assert (inside >= 0).all()
    corner = hull_outline(seen)
    assert len(corner) >= 4 and {tuple(p) for p in corner} <= {tuple(p) for p in seen}


def test_the_way_in_shows_corridor_and_lead(log):
    def pixels(state, hull):
        return np.asarray(Image.open(BytesIO(way_in(state, hull))).convert("RGB")).astype(int)

    def green(picture):
        return int((picture[..., 1] > picture[..., 0] + 15).sum())

    bare = log.last.with_placement(lead=None, check=None)
    without = pixels(bare, None)
    assert green(without) == 0 and green(pixels(bare, ideal_corridor(log.last))) > 5000
    assert (np.abs(pixels(log.last, None) - without).max(axis=2) > 60).sum() > 1000
