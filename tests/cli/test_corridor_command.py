"""`trainer corridor` and `trainer survey` from outside."""

import json

import numpy as np
import pytest
import trimesh
from PIL import Image

from trainer.commands.survey import drawn_names


def test_corridor(run, tmp_path):
    picture, body = tmp_path / "map.png", tmp_path / "body.ply"
    code, out, _ = run(
        "corridor", "ordinary-adult", "--largest-approach-deg", 40, "--needle-mm", 152,
        "--picture", picture, "--export", body, "--json",
    )  # fmt: skip
    assert code == 0
    found = json.loads(out)
    assert 0.0 < found["free_and_suits_the_lead_share"] < found["free_share"] < 0.05
    hard = found["difficulty"]
    assert 20.0 < hard["needle_alone"] < hard["needle_and_lead"] < 90.0
    for which in ("widest", "best_aim"):
        joint, alone = (found[which][name] for name in ("needle_and_lead", "needle_alone"))
        assert 1.9 <= joint["offset_mm"] <= 5.6 and 8.5 <= joint["crosses_midline_after_mm"] <= 31.0
        assert joint["approach_deg"] <= 40.0 + 1e-9 and alone["least_clearance_mm"] > 0.5
    best = found["best_aim"]["needle_and_lead"]
    assert best["expert_success"] > best["novice_success"] and joint["angle_to_canal_deg"] > 20.0
    pixels = np.asarray(Image.open(picture))
    assert pixels.shape[0] > 800 and len(np.unique(pixels.reshape(-1, pixels.shape[-1]), axis=0)) > 100
    parts = trimesh.load(body, process=False)
    assert parts.volume > 1000.0
    x, _, z = best["entry_mm"]
    again = run("aim", "ordinary-adult", "--entry-mm", x, z, "--approach-deg", best["approach_deg"],
                "--medial-deg", best["medial_deg"], "--needle-mm", 152, "--json")  # fmt: skip
    assert json.loads(again[1])["verdict"] == "passes"
    assert json.loads(again[1])["smallest_mend"] is None


def test_a_failing_aim_tells_its_smallest_mend(run):
    _, out, _ = run("aim", "ordinary-adult", "--approach-deg", 40, "--medial-deg", 0, "--json")
    found = json.loads(out)
    assert found["verdict"] == "fails" and found["smallest_mend"]["words"] in found["reasons"][0]["text"]
    mend = found["smallest_mend"]
    names = ("approach_deg", "medial_deg", "needle_mm")
    options = [part for name in names for part in (f"--{name.replace('_', '-')}", mend[name])]
    again = run("aim", "ordinary-adult", "--entry-mm", *mend["entry_mm"], *options, "--json")
    assert json.loads(again[1])["verdict"] == "passes"


def test_survey_asks_once(run, tmp_path):
    file = tmp_path / "survey.jsonl"
    ask = (
        "survey",
        "--case",
        "ordinary-adult",
        "--case",
        "no-such-case",
        "-o",
        file,
        "--workers",
        1,
        "--json",
    )
    code, out, _ = run(*ask)
    assert code == 0
    found = json.loads(out)
    assert found["cases"] == 2 and list(found["refused"]) == ["no-such-case"]
    values = found["interspaces"]["T12-L1"]
    assert values["difficulty"][0] == values["difficulty"][2] and values["no_way_for_needle_and_lead"] == 0
    before = file.read_bytes()
    again = run(*ask)
    assert again[0] == 0 and json.loads(again[1]) == found and file.read_bytes() == before
    code, _, err = run(*ask[:-1], "--side", "right")
    assert code == 2 and "the file must belong to this question" in err


@pytest.mark.parametrize(
    "arguments, words",
    [
        (("corridor", "ordinary-adult", "--picture", "map.jpg"), "--picture must end in .png"),
        (("corridor", "ordinary-adult", "--export", "map.doc"), "export file must end in"),
        (("corridor", "ordinary-adult", "--interspace", "T12"), "interspace must be one of"),
        (("corridor", "ordinary-adult", "--largest-approach-deg", 95), "approach_deg must lie between"),
        (("survey", "-o", "x.jsonl"), "--draw or --case must name at least one case"),
        (("survey", "-o", "x.jsonl", "--draw", "5"), "--draw must be FIRST:LAST"),
        (("survey", "-o", "x.jsonl", "--draw", "9:5"), "--draw must be FIRST:LAST"),
        (("survey", "-o", "x.jsonl", "--draw", "1:2", "--needle-mm", 9), "length must lie between"),
    ],
)
def test_bad_input_is_one_sentence(run, arguments, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(*arguments)
    assert code == 2 and out == "" and words in err and err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_ranges_of_seeds():
    assert drawn_names("3:5") == ["draw:3", "draw:4", "draw:5"] and drawn_names("7:7") == ["draw:7"]
