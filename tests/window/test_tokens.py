"""Colours and sizes: contrast by the published formula, nothing too small."""

import pytest

from trainer.window import tokens as t


def test_the_formula_on_its_own_anchors():
    """Black on white is 21 to 1, equal colours are 1 to 1, and the order does not matter (WCAG 2.2)."""
    assert t.contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert t.contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert t.contrast(t.ACT, t.ACT) == pytest.approx(1.0)
    assert t.contrast(t.ACT, t.INK) == t.contrast(t.INK, t.ACT)


@pytest.mark.parametrize(("ink", "ground"), t.TEXT_PAIRS)
def test_text_can_be_read(ink, ground):
    assert t.contrast(ink, ground) >= 4.5


def test_borders_that_must_be_found_can_be():
    for ground in (t.GROUND, t.PANEL):
        assert t.contrast(t.EDGE, ground) >= 3.0


def test_no_text_is_smaller_than_fourteen_pixels():
    assert min(size for size, _ in t.TYPE.values()) >= 14
    assert min(t.SCALES) == 1.0
