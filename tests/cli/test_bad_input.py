"""Bad input: one sentence, exit code 2, no traceback, nothing half-written left behind."""

import errno
import os
import re
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from meshes import export
from scenarios import library
from trainer.cli import main, sentence


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Return an empty working folder with the files that the bad calls name."""
    (tmp_path / "broken.toml").write_text('title = "x"\nseed = = 3\n', encoding="utf-8")
    good = library.load("ordinary-adult").to_toml()
    (tmp_path / "range.toml").write_text(good.replace("= 50.0", "= 95.0"), encoding="utf-8")
    (tmp_path / "unknown.toml").write_text(good.replace("flavum_scale", "flavum"), encoding="utf-8")
    (tmp_path / "bad.txt").write_text("advance 5\nturn 3\n", encoding="utf-8")
    (tmp_path / "good.txt").write_text("advance 5\n", encoding="utf-8")
    (tmp_path / "far.txt").write_text("advance 5\nwithdraw 50\n", encoding="utf-8")
    (tmp_path / "torn.jsonl").write_text('{"journal": 1, "prog', encoding="utf-8")
    (tmp_path / "file").write_text("x", encoding="utf-8")
    (tmp_path / "empty.toml").write_bytes(b"")
    (tmp_path / "bytes.toml").write_bytes(b'title = "\xff"\n')
    (tmp_path / "twice.toml").write_text("seed = 1\n[task]\n[task]\n", encoding="utf-8")
    (tmp_path / "deep.toml").write_text("a = " + "[" * 5000, encoding="utf-8")
    (tmp_path / "digits.toml").write_text(good.replace("seed = 52", "seed = " + "9" * 5000), encoding="utf-8")
    (tmp_path / "date.toml").write_text(good.replace("seed = 52", "seed = 1979-05-27"), encoding="utf-8")
    (tmp_path / "curve.toml").write_text(good.replace('top = "T8"', 'top = "L5"'), encoding="utf-8")
    (tmp_path / "deep.jsonl").write_text("[" * 100_000 + "\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


CALLS = [
    (
        "aim nobody",
        "case must be one of after-laminectomy, .*, draw:SEED or the path of a TOML file, got 'nobody'",
    ),
    ("anatomy nobody", "case must be one of after-laminectomy, .*, draw:SEED or"),
    ("aim broken.toml", "broken.toml line 2: the line must be TOML"),
    ("aim range.toml", "range.toml line 35: anatomy.lumbar_lordosis_deg must lie between 10 and 80, got 95"),
    ("aim unknown.toml", "unknown.toml line 45: anatomy.flavum must be one of"),
    ("aim ordinary-adult --interspace T12-L2", "interspace must be one of T6-T7, .*, got 'T12-L2'"),
    ("aim ordinary-adult --side middle", "side must be left or right, got 'middle'"),
    ("aim ordinary-adult --approach-deg 100", "approach_deg must lie between 5 and 90, got 100"),
    ("aim ordinary-adult --medial-deg 70", "medial_deg must lie between -60 and 60, got 70"),
    ("aim ordinary-adult --approach-deg steep", "Invalid value for '--approach-deg'"),
    ("aim ordinary-adult --needle-mm 10", "length must lie between 40 and 250 mm, got 10"),
    ("aim ordinary-adult --set bmi=3", "--set: anatomy.bmi must be one of"),
    (
        "aim ordinary-adult --set body_mass_index=99",
        "--set: anatomy.body_mass_index must lie between 16 and 50",
    ),
    ("aim ordinary-adult --entry-mm 1 2 --target-offset-mm 1", "--entry-mm must stand alone"),
    (
        "steer ordinary-adult --script bad.txt",
        "bad.txt line 2: the line must be one of advance, withdraw, rotate, saline",
    ),
    (
        "steer ordinary-adult --script none.txt",
        "none.txt must be a path that the program may use, got 'no such file",
    ),
    ("steer ordinary-adult --script good.txt --interspace X", "interspace must be one of"),
    ("steer ordinary-adult --script good.txt --contacts 5", "contacts must be one of 4, 8, 16, got 5"),
    (
        "steer ordinary-adult --script good.txt --stylet bent",
        "stylet must be one of curved, straight, strong",
    ),
    (
        "steer ordinary-adult --script good.txt --approach-deg 95",
        "approach_deg must be more than 0 and less than 90, got 95",
    ),
    (
        "aim ordinary-adult --entry-mm 10 900",
        "entry_z must lie on the modelled back, .* got 900",
    ),
    ("aim ordinary-adult --entry-mm 900 80", "entry_x must lie on the modelled back, between .* got 900"),
    ("steer ordinary-adult --script far.txt", "far.txt line 2: millimetres must leave 4 to .*, got -50"),
    (
        "steer ordinary-adult --script good.txt --mouth-offset-mm 30",
        "offset must lie inside the canal",
    ),
    ("steer ordinary-adult", "Missing option '--script'"),
    ("xray ordinary-adult -o picture.jpg", "--output must end in .png, got 'picture.jpg'"),
    ("xray ordinary-adult -o none/picture.png", "none/picture.png must be a path that the program may use"),
    ("xray ordinary-adult -o picture.png --centre C5", "level must be one of T6"),
    ("xray ordinary-adult -o picture.png --tilt-deg 80", "tilt_deg must lie between -45 and 45, got 80"),
    (
        "xray ordinary-adult -o picture.png --orbit-deg 150",
        "orbit_deg must lie between -100 and 100, got 150",
    ),
    ("xray ordinary-adult -o picture.png --view skyline", "view must be one of AP, lateral, oblique left"),
    ("xray ordinary-adult -o picture.png --field huge", "field must be one of full, middle, small"),
    ("xray ordinary-adult -o picture.png --breath 2", "breath must lie between 0 and 1, got 2"),
    ("xray ordinary-adult -o picture.png --iris 0", "iris must lie between 0.1 and 1, got 0"),
    ("xray ordinary-adult -o picture.png --exposure film", "purpose must be one of single, live, got 'film'"),
    ("xray ordinary-adult -o picture.png --contrast 0", "contrast must lie between 0.1 and 10, got 0"),
    ("xray ordinary-adult -o picture.png --dicom picture.png", "--dicom must end in .dcm, got 'picture.png'"),
    (
        "xray ordinary-adult -o picture.png --exposure live --frames-per-second 99",
        "frames_per_second must lie between 0 and 30",
    ),
    ("xray ordinary-adult -o picture.png --size 5", "pixels must be a whole number from 16 to 4096, got 5"),
    (
        "xray ordinary-adult -o picture.png --journal torn.jsonl",
        "torn.jsonl line 1: the line must be the header",
    ),
    ("replay none.jsonl", "none.jsonl must be a path that the program may use, got 'no such file"),
    ("replay torn.jsonl", "torn.jsonl line 1: the line must be the header of a journal"),
    ("replay file", "file line 1: the line must be the header of a journal"),
    ("aim empty.toml", "empty.toml: title must be given, got nothing: add it"),
    ("aim bytes.toml", "bytes.toml line 1: the file must be UTF-8 text"),
    (
        "aim twice.toml",
        r"twice.toml line 3: the line must be TOML \(cannot declare task twice\), got '\[task\]'",
    ),
    ("aim deep.toml", "deep.toml: the file must not nest"),
    ("aim digits.toml", "digits.toml: the file must hold readable numbers"),
    ("aim date.toml", "date.toml line [34]: seed must be a whole number, got 1979-05-27: correct it"),
    ("aim curve.toml", "curve.toml line .*: anatomy must have its curve_top above its curve_bottom, got L5"),
    ("aim ordinary-adult --target-offset-mm nan", "target_offset must stay within .* got nan"),
    ("aim ordinary-adult --interspace S1-S2", "interspace must be one of T6-T7, .*, L5-S1, got 'S1-S2'"),
    (
        "steer ordinary-adult --script good.txt --medial-deg nan",
        "medial_deg must lie between -60 and 60, got nan",
    ),
    ("steer ordinary-adult --script good.txt --medial-deg 200", "medial_deg must lie between -60 and 60"),
    ("steer ordinary-adult --script good.txt --mouth-offset-mm nan", "offset must be a number, got nan"),
    ("replay deep.jsonl", "deep.jsonl line 1: the line must be a JSON object"),
    ("replay ", "Invalid value for 'ATTEMPT.jsonl': the path must have a name, got an empty one"),
    ("demo -o ", "Invalid value for '--output' / '-o': the path must have a name, got an empty one"),
    ("xray ordinary-adult -o ", "Invalid value for '--output' / '-o': the path must have a name"),
    ("demo -o file", "file must be a path that the program may use, got 'file exists'"),
    ("demo -o file/folder", "file/folder must be a path that the program may use"),
    ("demo --case nobody", "case must be one of"),
    ("no-such-command", "No such command 'no-such-command'"),
    ("cases --no-such-option", "No such option: --no-such-option"),
]


@pytest.mark.parametrize(("call", "words"), CALLS, ids=[call for call, _ in CALLS])
def test_bad_input(folder, capsys, call, words):
    before = sorted(path.name for path in folder.rglob("*"))
    with pytest.raises(SystemExit) as ended:
        # A trailing space stands for an empty text, as an unset variable of a shell gives it.
        main(call.split(" "))
    captured = capsys.readouterr()
    assert ended.value.code == 2
    assert captured.out == ""
    *progress, sentence = captured.err.splitlines()
    assert re.match(f"trainer: {words}", sentence), sentence
    assert not [line for line in progress if "trainer:" in line or "Traceback" in line]
    assert sorted(path.name for path in folder.rglob("*")) == before


def test_as_a_process(folder):
    command = [sys.executable, "-m", "trainer", "aim", "nobody"]
    ran = subprocess.run(command, capture_output=True, text=True)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert len(ran.stderr.splitlines()) == 1
    assert "Traceback" not in ran.stderr


def test_a_failure_in_the_middle_leaves_nothing_behind(folder, capsys, monkeypatch):
    from trainer.records import report

    def no_space(*_):
        raise OSError(28, "No space left on device", "report.html")

    monkeypatch.setattr(report, "write_report", no_space)
    before = sorted(path.name for path in folder.rglob("*"))
    with pytest.raises(SystemExit) as ended:
        main(["demo", "-o", "new/folder"])
    assert ended.value.code == 2
    assert "trainer: the disk must have room for report.html" in capsys.readouterr().err
    assert sorted(path.name for path in folder.rglob("*")) == before


def test_a_full_disk_is_told_with_its_remedy():
    told = sentence(OSError(errno.ENOSPC, "No space left on device", "x.png"))
    assert (
        told
        == "the disk must have room for x.png, got 'no space left on device': free some space and start again"
    )
    assert "check the path" in sentence(PermissionError(errno.EACCES, "Permission denied", "x.png"))


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
@pytest.mark.parametrize("ending", [".glb", ".stl", ".ply", ".vtp"])
def test_no_format_goes_down_with_a_full_disk(tmp_path, monkeypatch, ending):
    """VTK's own writer of VTP ended the whole process here."""
    monkeypatch.setattr(export, "_claim", lambda part, path: part.symlink_to("/dev/full"))
    triangle = {"a": (np.eye(3), np.array([[0, 1, 2]]))}
    with pytest.raises(OSError, match="No space left"):
        export.export_meshes(triangle, tmp_path / f"x{ending}")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("wait", [0.0, 0.4])
def test_interrupted(folder, wait):
    """Ctrl-C as a terminal sends it: to the whole group of processes."""
    before = sorted(path.name for path in folder.rglob("*"))
    code = "from trainer.cli import main; print('ready', flush=True); main(['demo', '-o', 'new'])"
    running = subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # A shell in the background leaves the signal ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert running.stdout.readline() == "ready\n"
    time.sleep(wait + 0.05)
    os.killpg(running.pid, signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert (running.returncode, out) == (130, "")
    assert err.splitlines()[-1] == "trainer: interrupted, nothing was written"
    assert "Traceback" not in err
    assert sorted(path.name for path in folder.rglob("*")) == before


def test_a_bug_is_not_taken_for_bad_input(monkeypatch):
    from scenarios import library as cases

    def bug():
        raise KeyError("x")

    monkeypatch.setattr(cases, "names", bug)
    with pytest.raises(KeyError):
        main(["cases"])
