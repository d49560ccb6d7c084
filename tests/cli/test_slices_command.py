"""`trainer slices` from outside."""

import json

import pytest
from PIL import Image


@pytest.mark.parametrize(
    "options",
    (
        ("--plane", "sagittal", "--at", "-4"),
        ("--plane", "axial", "--at", "L4-L5", "--along-disc", "--appearance", "ct"),
        ("--plane", "coronal"),
    ),
)
def test_a_slice_is_written(run, tmp_path, options):
    file = tmp_path / "slice.png"
    code, out, _ = run("slices", "ordinary-adult", "-o", file, "--json", "--pitch", "2", *options)
    found = json.loads(out)
    assert code == 0
    with Image.open(file) as image:
        assert image.size == (found["columns"], found["rows"])
    assert found["plane"] == options[1]


@pytest.mark.parametrize(
    "options, words",
    (
        (("--plane", "diagonal"), "--plane must be one of"),
        (("--appearance", "t1"), "appearance must be one of"),
        (("--at", "C3"), "level must be one of"),
        (("--plane", "sagittal", "--along-disc"), "--along-disc must go with an axial plane"),
        (("--pitch", "0.01"), "--pitch must lie between"),
        (("--plane", "axial", "--at", "100", "--along-disc"), "at must name a level"),
        (("--appearance", "ct", "--window-width", "-5"), "width must be positive"),
    ),
)
def test_bad_input_is_one_sentence(run, tmp_path, options, words):
    file = tmp_path / "slice.png"
    code, out, err = run("slices", "ordinary-adult", "-o", file, *options)
    assert (code, out) == (2, "")
    assert words in err
    assert "Traceback" not in err
    assert not file.exists()


def test_only_png_is_written(run, tmp_path):
    code, _, err = run("slices", "ordinary-adult", "-o", tmp_path / "slice.jpg")
    assert code == 2
    assert "must end in .png" in err
