"""The command line from outside: answers on standard output, one sentence for bad input, exit codes."""

import json
import re
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from scenarios import library
from trainer import __version__

SCRIPT = "advance 20\nrotate -45  # towards the left\nadvance 10\nwithdraw 5\n"


@pytest.fixture
def script(tmp_path):
    file = tmp_path / "script.txt"
    file.write_text(SCRIPT, encoding="utf-8")
    return file


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """Return (folder, standard output, standard error) of `trainer demo`, run as a person runs it."""
    folder = tmp_path_factory.mktemp("demo") / "new" / "folder"
    command = [sys.executable, "-m", "trainer", "demo", "-o", str(folder), "--json"]
    ran = subprocess.run(command, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    return folder, ran.stdout, ran.stderr


def test_version_and_help(run):
    assert run("--version") == (0, f"{__version__}\n", "")
    code, out, err = run("--help")
    assert (code, err) == (0, "")
    window, work = ("practise", "assess"), ("perform", "score", "records", "replay", "info")
    looks = ("cases", "anatomy", "aim", "corridor", "survey", "needle", "steer", "xray", "slices")
    for name in (*window, "demo", *looks, *work):
        assert name in out
        assert run(name, "--help")[0] == 0


def test_a_light_command_loads_nothing_heavy():
    code = (
        "import sys\nfrom trainer.cli import main\n"
        "try: main(['cases'])\nexcept SystemExit: pass\n"
        "print([m for m in ('numba', 'scipy', 'trimesh', 'pyvista', 'matplotlib') if m in sys.modules])\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert ran.stdout.splitlines()[-1] == "[]", ran.stderr


def test_cases(run):
    code, out, _ = run("cases")
    assert code == 0
    assert "ordinary-adult" in out and "heavy-adult" in out
    content = json.loads(run("cases", "--json")[1])
    assert content["heavy-adult"]["anatomy"]["body_mass_index"] == 40.0
    assert next(iter(content)) == "slim-adult" and [*content][-1] == "two-leads", "easy ones first"
    assert all(set(case) & {"decision", "time_guide_min"} == set() for case in content.values())
    assert [line.split(":")[0] for line in out.splitlines() if line[0:1].strip()] == list(content)
    assert "last taken" in out and "Teaches: " in out
    for case in map(library.load, library.names()):
        assert case.teaches in out and case.card.consent.rstrip(".") in out
        assert case.decision.expected == "proceed" or case.decision.why not in out
        assert not re.search(r"puts? off|put the case|declin|refus|defer", case.teaches)


def test_info(run):
    code, out, _ = run("info", "--json")
    assert code == 0
    content = json.loads(out)
    assert content["version"] == __version__
    assert content["numpy"] == np.__version__
    assert "cache folder" in run("info")[1]


def test_aim(run):
    code, out, _ = run("aim", "ordinary-adult", "--approach-deg", "30", "--medial-deg", "12", "--json")
    assert code == 0
    found = json.loads(out)
    along, depth = found["along_the_needle_mm"], found["depth_below_skin_mm"]
    assert found["angle_to_skin_deg"] == pytest.approx(30.0, abs=1e-6)
    # Depth = length along the needle times the sine of the angle to the skin.
    assert depth == pytest.approx(along["epidural_space"] * 0.5, abs=1e-6)
    assert along["fascia"] < along["flavum"] < along["epidural_space"] < along["dura"]
    assert "The needle" in run("aim", "ordinary-adult")[1]


def test_aim_at_the_same_entry_gives_the_same_needle(run):
    found = json.loads(run("aim", "ordinary-adult", "--json")[1])
    x, _, z = found["aim"]["entry_mm"]
    again = json.loads(run("aim", "ordinary-adult", "--entry-mm", repr(x), repr(z), "--json")[1])
    assert again == found


def test_steer(run, script):
    code, out, _ = run("steer", "ordinary-adult", "--script", script, "--json")
    assert code == 0
    states = json.loads(out)
    assert [state["after"] for state in states] == [
        "inserted",
        "advance 20",
        "rotate -45",
        "advance 10",
        "withdraw 5",
    ]
    first = states[0]["fed_mm"]
    assert [state["fed_mm"] - first for state in states] == pytest.approx([0.0, 20.0, 20.0, 30.0, 25.0])
    assert all(state["converged"] for state in states)
    # A negative turn of the hub sends the bend towards the patient's left, and the tip follows.
    assert states[2]["clock_angle_deg"] != states[1]["clock_angle_deg"]
    assert states[3]["tip_offset_mm"] > states[1]["tip_offset_mm"] - 3.0
    table, legend = run("steer", "ordinary-adult", "--script", script)[1].split("\n\n")
    notes = [line for line in table.splitlines() if ": the lead " in line]
    assert len(table.splitlines()) - len(notes) == 6
    assert "converged" in table.splitlines()[0]
    assert "left positive" in legend and "3 the patient's right" in legend


def test_steer_tells_when_the_tip_has_left_the_model(run, tmp_path):
    file = tmp_path / "far.txt"
    file.write_text("\ufeffadvance 230\n", encoding="utf-8")
    out = run("steer", "ordinary-adult", "--script", file)[1]
    assert "advance 230: the tip has left the modelled canal" in out
    assert "inserted: " not in out


def test_xray_tells_when_the_repeated_attempt_differs(run, tmp_path, demo):
    lines = (demo[0] / "attempt.jsonl").read_text(encoding="utf-8").splitlines(keepends=True)
    changed = tmp_path / "changed.jsonl"
    other = json.dumps({**json.loads(lines[1]), "state": "0" * 24}) + "\n"
    changed.write_text("".join([lines[0], other, *lines[2:5]]), encoding="utf-8")
    call = ("xray", "ordinary-adult", "-o", tmp_path / "x.png", "--size", "64", "--journal", changed)
    code, _, err = run(*call)
    assert code == 0 and "line 2: from here on the repeated attempt differs" in err
    changed.write_text("".join(lines[:5]), encoding="utf-8")
    assert "differs" not in run(*call)[2]


def test_steer_tells_warnings_and_what_the_patient_feels(run, tmp_path):
    """A bend held to the left ends beside a root; saline on the way is taken as any command."""
    file = tmp_path / "held.txt"
    file.write_text("advance 25.5\nrotate -90\nadvance 50\nsaline 1\n")
    mouth = ("--mouth-offset-mm", "2", "--medial-deg", "8")
    out = run("steer", "ordinary-adult", "--script", str(file), *mouth)[1]
    assert "saline 1" in out
    assert "the patient feels a sharp pain on the left" in out


def test_steer_reads_standard_input(run, monkeypatch):
    import io

    monkeypatch.setattr(sys, "stdin", io.StringIO("advance 3"))
    assert "advance 3" in run("steer", "ordinary-adult", "--script", "-")[1]


def test_xray(run, tmp_path, demo):
    file = tmp_path / "picture.png"
    code, out, _ = run("xray", "ordinary-adult", "-o", file, "--size", "128", "--json")
    assert code == 0
    assert json.loads(out)["pixels"] == 128
    bare = np.asarray(Image.open(file), float)
    assert bare.shape == (128, 128)
    journal = demo[0] / "attempt.jsonl"
    assert run("xray", "ordinary-adult", "-o", file, "--size", "128", "--journal", journal)[0] == 0
    # Needle and lead are metal: darker where they lie, the same far away.
    shadow = bare - np.asarray(Image.open(file), float)
    assert shadow.max() > 40.0
    assert [path.name for path in tmp_path.iterdir()] == ["picture.png"]


def test_xray_with_view_collimation_and_dicom(run, tmp_path):
    """pydicom reads back what the picture shows; the collimator shuts the rest out."""
    import pydicom

    png, dcm = tmp_path / "picture.png", tmp_path / "picture.dcm"
    call = ("xray", "ordinary-adult", "-o", png, "--dicom", dcm, "--size", "256", "--view", "oblique right")
    code, out, _ = run(*call, "--tilt-deg", "-10", "--shutters-across", "0.4", "--json")
    assert code == 0
    told = json.loads(out)
    assert (told["orbit_deg"], told["tilt_deg"]) == (pytest.approx(50.0), pytest.approx(-10.0))
    assert told["images"] == 1 and told["air_kerma_mgy"] > 0.0
    picture, read = np.asarray(Image.open(png)), pydicom.dcmread(dcm)
    assert np.array_equal(read.pixel_array[:200], picture[:200])
    assert not picture[160:200, 2:70].any() and picture[160:200, 100:156].mean() > 60.0
    code, out, _ = run(*call, "--exposure", "live", "--frames-per-second", "4")
    assert code == 0 and "0 images, 3 s live" in out and "SIMULATED" in str(read.PatientName)


def test_xray_follows_the_breath(run, tmp_path):
    """The diaphragm goes down and bares lung; the column and the bones of the pelvis stay."""
    pictures = []
    for breath in ("0", "1"):
        file = tmp_path / f"{breath}.png"
        call = ("xray", "ordinary-adult", "-o", file, "--size", "128", "--centre", "T11", "--breath", breath)
        assert run(*call)[0] == 0
        pictures.append(np.asarray(Image.open(file), float))
    change = np.abs(pictures[1] - pictures[0])
    assert change.max() > 30.0
    assert np.median(change[:, 60:68]) < 12.0


def test_demo_writes_everything(demo):
    folder, out, err = demo
    assert sorted(path.name for path in folder.iterdir()) == ["attempt.jsonl", "report.html", "result.json"]
    result = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    assert json.loads(out) == result
    assert result["lead"]["placed"]
    assert result["lead"]["tip_level"].startswith("T8") or result["lead"]["tip_level"] == "T7-T8 disc"
    assert "steering to the top of T8" in err


def test_replay_of_the_demo(run, demo):
    journal = demo[0] / "attempt.jsonl"
    code, out, _ = run("replay", journal, "--json")
    assert code == 0
    found = json.loads(out)
    assert found["identical"] and found["same_version"]
    result = json.loads((demo[0] / "result.json").read_text(encoding="utf-8"))
    assert found["result"] == {key: value for key, value in result.items() if key != "performer"}


def test_replay_of_a_torn_journal_goes_on_with_a_message(run, demo, tmp_path):
    torn = tmp_path / "torn.jsonl"
    torn.write_bytes((demo[0] / "attempt.jsonl").read_bytes()[:-5])
    code, out, err = run("replay", torn)
    assert code == 0
    assert "the last line was torn and has been dropped" in err
    assert "repeated to the last bit" in out


def test_replay_that_differs_ends_with_exit_code_1(run, demo, tmp_path):
    lines = (demo[0] / "attempt.jsonl").read_text(encoding="utf-8").splitlines()
    changed = {**json.loads(lines[2]), "state": "0" * 24}
    file = tmp_path / "changed.jsonl"
    file.write_text("\n".join([*lines[:2], json.dumps(changed), lines[3]]) + "\n", encoding="utf-8")
    code, out, _ = run("replay", file)
    assert code == 1
    assert "Event 2 of 3 led to another state than recorded" in out
