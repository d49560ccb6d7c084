"""`trainer xray --drawn-by`: the card, or the program that stands for one, draws the processor's picture."""

import json

import numpy as np
import pytest
from PIL import Image

from trainer.cli import main
from trainer.physics.xray_choice import is_program
from trainer.physics.xray_graphics import BlendingRasteriser, NoGraphicsError


@pytest.fixture(scope="module")
def card():
    try:
        return BlendingRasteriser().card
    except NoGraphicsError as error:
        pytest.skip(str(error))


@pytest.fixture
def taken(capsys, tmp_path):
    """Return a function that takes a picture and gives (what was told, the picture)."""

    def taken(*more, as_json=True):
        file = tmp_path / "picture.png"
        call = ["xray", "ordinary-adult", "-o", str(file), "--size", "128", *more]
        with pytest.raises(SystemExit) as ended:
            main([*call, "--json"] if as_json else call)
        captured = capsys.readouterr()
        assert ended.value.code == 0, captured.err
        told = json.loads(captured.out) if as_json else captured.out
        return told, np.asarray(Image.open(file), int)

    return taken


def test_both_draw_the_same_picture(taken, card):
    told, drawn = taken("--drawn-by", "card")
    assert (told["drawn_by"], told["card"]) == ("card", card)
    assert "card_ms" not in told
    told, exact = taken()
    assert (told["drawn_by"], told["card"]) == ("processor", "")
    # Silhouettes differ by single pixels; the grey of the rest by its rounding.
    assert np.mean(np.abs(drawn - exact) > 2) < 0.01 and exact.std() > 20.0
    assert np.abs(drawn[:, ::-1] - exact).mean() > 3.0


def test_nothing_is_measured_without_a_real_card(taken, card):
    told, _ = taken("--drawn-by", "faster")
    if not is_program(card):
        assert told["processor_ms"] > 0.0 and told["card_ms"] > 0.0
        return
    assert told["drawn_by"] == "processor" and told["card"] == card and "processor_ms" not in told
    assert f"drawn by  the processor; {card}" in taken("--drawn-by", "faster", as_json=False)[0]


def test_another_way_is_refused_before_anything_is_built(capsys, tmp_path):
    with pytest.raises(SystemExit) as ended:
        main(["xray", "ordinary-adult", "-o", str(tmp_path / "x.png"), "--drawn-by", "hand"])
    assert ended.value.code == 2
    assert "drawn_by must be one of processor, card, faster, got 'hand'" in capsys.readouterr().err


def test_no_card_is_one_sentence(capsys, tmp_path, monkeypatch):
    def refuse(self):
        raise NoGraphicsError("there must be OpenGL to draw with, got none: use the processor's rasteriser")

    monkeypatch.setattr(BlendingRasteriser, "_open", refuse)
    with pytest.raises(SystemExit) as ended:
        main(["xray", "ordinary-adult", "-o", str(tmp_path / "x.png"), "--drawn-by", "card"])
    assert ended.value.code == 2 and not list(tmp_path.iterdir())
    assert "--drawn-by card: there must be OpenGL to draw with, got none" in capsys.readouterr().err
