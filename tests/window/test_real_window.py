"""The program opened as a user opens it, on a virtual display where one is installed."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

GRAB = """
import sys
from PySide6.QtCore import QTimer
from trainer.window import application

def look(window):
    def shoot():
        window.screen().grabWindow(window.winId()).save(sys.argv[1])
        window.close()
    QTimer.singleShot(3000, shoot)

sys.exit(application.run(look))
"""


@pytest.fixture
def display():
    if not shutil.which("Xvfb"):
        pytest.skip("Xvfb is not installed here: no virtual display")
    number = 200 + os.getpid() % 300
    server = subprocess.Popen(
        ["Xvfb", f":{number}", "-screen", "0", "1366x768x24", "-nolisten", "tcp"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    socket = Path(f"/tmp/.X11-unix/X{number}")
    for _ in range(100):
        if socket.exists():
            break
        time.sleep(0.05)
    yield f":{number}"
    server.terminate()
    server.wait(timeout=10)


def test_the_first_page_on_a_display(display, tmp_path):
    environment = {**os.environ, "DISPLAY": display, "QT_QPA_PLATFORM": "xcb"}
    shot = tmp_path / "first.png"
    run = subprocess.run(
        [sys.executable, "-c", GRAB, str(shot)], env=environment, capture_output=True, text=True, timeout=120
    )
    if "could not connect to display" in run.stderr or "no Qt platform plugin" in run.stderr:
        pytest.fail(run.stderr)
    assert run.returncode == 0, run.stderr
    picture = np.asarray(Image.open(shot).convert("RGB"), int)
    assert picture.shape[0] >= 640 and picture.shape[1] >= 1024
    ground = np.array([0x11, 0x16, 0x1A])
    assert (np.abs(picture - ground).max(axis=2) < 4).mean() > 0.15, "the dark room"
    assert (picture.min(axis=2) > 200).mean() > 0.002, "words that can be read"
    skin = (picture[..., 0] > 150) & (picture[..., 0] - picture[..., 2] > 40)
    assert skin.mean() > 0.03, "the pictures of the two choices"
