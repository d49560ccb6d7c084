"""What every picture carries: its sides, the head, a scale and the name of the view."""

from functools import cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from meshes.units import degrees

SCALE_LENGTHS = (100, 50, 20, 10, 5, 2, 1)
LARGEST_SCALE_SHARE = 0.13
# A side is named when the picture's edge points to it by at least this cosine.
NAMED = 0.38
INK, RIM = 236, 12


def side_names(carm):
    """Return the words at the left and the right edge: L or R, Back or Front, both in an oblique view."""
    left, back = -carm.axes[0, 0], -carm.axes[0, 1]
    names = [("L", "R", left), ("Back", "Front", back)]
    here = [(plus if share > 0 else minus) for plus, minus, share in names if abs(share) >= NAMED]
    there = [(minus if share > 0 else plus) for plus, minus, share in names if abs(share) >= NAMED]
    return " ".join(here), " ".join(there)


def view_name(carm):
    """Return how the view is called: AP, Lateral, or its angles."""
    orbit, tilt = round(degrees(carm.orbit)), round(degrees(carm.tilt))
    name = {0: "AP", 90: "Lateral", -90: "Lateral"}.get(orbit, f"Orbit {orbit}°")
    if tilt:
        name += f", {abs(tilt)}° to the {'head' if tilt > 0 else 'feet'}"
    return name


def scale_bar(carm):
    """Return (millimetres, pixels) of the longest round scale that fits, in the plane of the isocentre."""
    largest = LARGEST_SCALE_SHARE * carm.pixels
    length = next((mm for mm in SCALE_LENGTHS if mm * carm.pixels_per_mm <= largest), SCALE_LENGTHS[-1])
    return length, length * carm.pixels_per_mm


@cache
def _font(size):
    return ImageFont.load_default(size)


def mark(picture, carm):
    """Return a copy of a picture (n, n) uint8 with side letters, head arrow, scale and name on it."""
    image = Image.fromarray(picture.copy())
    draw, n = ImageDraw.Draw(image), carm.pixels
    size = max(14.0, n / 34.0)

    def write(words, place, anchor):
        rim = round(size / 7.0)
        draw.multiline_text(
            place,
            words,
            fill=INK,
            font=_font(size),
            anchor=anchor,
            stroke_width=rim,
            stroke_fill=RIM,
            align="center",
        )

    left, right = side_names(carm)
    margin = 0.022 * n
    write(left.replace(" ", "\n"), (margin, 0.5 * n), "lm")
    write(right.replace(" ", "\n"), (n - margin, 0.5 * n), "rm")
    write(view_name(carm).replace(", ", "\n"), (0.4 * size, 0.4 * size), "la")
    _arrow(draw, n, size)
    write("Head", (0.5 * n + 0.7 * size, margin + 0.6 * size), "lm")
    length, pixels = scale_bar(carm)
    _scale(draw, n, size, pixels)
    write(f"{length} mm", (0.5 * size, n - 1.1 * size), "ld")
    return np.asarray(image)


def _arrow(draw, n, size):
    x, top, bottom = 0.5 * n, 0.022 * n, 0.022 * n + 1.25 * size
    head = [(x, top), (x - 0.4 * size, top + 0.55 * size), (x + 0.4 * size, top + 0.55 * size)]
    draw.line([(x, top + 0.4 * size), (x, bottom)], fill=RIM, width=round(0.45 * size))
    draw.polygon([(x, top - 3), (head[1][0] - 3, head[1][1] + 2), (head[2][0] + 3, head[2][1] + 2)], fill=RIM)
    draw.line([(x, top + 0.5 * size), (x, bottom)], fill=INK, width=round(0.18 * size))
    draw.polygon(head, fill=INK)


def _scale(draw, n, size, pixels):
    x, y = 0.5 * size, n - 0.6 * size
    for tick in (0.0, 0.5, 1.0):
        draw.line([(x + tick * pixels, y), (x + tick * pixels, y - 0.35 * size)], fill=INK, width=2)
    draw.line([(x, y), (x + pixels, y)], fill=INK, width=2)
