"""What every slice carries: its sides, a scale and its name."""

from functools import cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

SCALE_LENGTHS = (50, 20, 10, 5, 2, 1)
LARGEST_SCALE_SHARE = 0.35
# An edge is named when it points to a side by at least this cosine.
NAMED = 0.6
INK, RIM = 236, 12
APPEARANCE_NAMES = {"t2": "T2-like", "ct": "CT-like"}


@cache
def _font(size):
    return ImageFont.load_default(size)


def _toward(direction):
    """Return the word for where a direction (3,) of the patient's frame points, empty if to none."""
    names = (("L", "R"), ("Back", "Front"), ("Head", "Feet"))
    axis = int(np.argmax(np.abs(direction)))
    if abs(direction[axis]) < NAMED:
        return ""
    return names[axis][0 if direction[axis] > 0.0 else 1]


def edge_names(plane):
    """Return the words at the left, right, upper and lower edge: L is the patient's left."""
    return _toward(-plane.right), _toward(plane.right), _toward(-plane.down), _toward(plane.down)


def place_name(plane):
    """Return the plane's name and where it cuts, such as 'Sagittal, 3 mm left'."""
    name = plane.name.capitalize()
    if plane.name == "sagittal":
        x = round(float(plane.centre[0]), 1) + 0.0
        return f"{name}, " + ("midline" if x == 0.0 else f"{abs(x):g} mm {'left' if x > 0.0 else 'right'}")
    if plane.name == "oblique":
        return f"{name} along the needle"
    axis, words = (1, "y") if plane.name == "coronal" else (2, "z")
    return f"{name}, {words} {plane.centre[axis]:.0f} mm"


def scale_bar(plane):
    """Return (millimetres, pixels) of the longest round scale that fits."""
    largest = LARGEST_SCALE_SHARE * plane.columns
    length = next((mm for mm in SCALE_LENGTHS if mm / plane.pitch <= largest), SCALE_LENGTHS[-1])
    return length, length / plane.pitch


def mark_slice(picture, section):
    """Return a copy of a picture (rows, columns) uint8 of a Slice with sides, scale and name on it.

    Raises ValueError if the picture has another size than the slice.
    """
    plane = section.plane
    if picture.shape != (plane.rows, plane.columns):
        raise ValueError(
            f"picture must have shape {(plane.rows, plane.columns)}, got {picture.shape}: use its own slice"
        )
    image = Image.fromarray(picture.copy())
    draw, size = ImageDraw.Draw(image), 14
    width, height = plane.columns, plane.rows

    def write(words, place, anchor):
        draw.multiline_text(
            place, words, fill=INK, font=_font(size), anchor=anchor, stroke_width=2, stroke_fill=RIM
        )

    left, right, top, bottom = edge_names(plane)
    write(left, (5, 0.5 * height), "lm")
    write(right, (width - 5, 0.5 * height), "rm")
    write(top, (0.5 * width, 24), "mt")
    write(bottom, (0.5 * width, height - 6), "md")
    write(place_name(plane), (5, 4), "la")
    write(APPEARANCE_NAMES[section.appearance], (width - 5, 4), "ra")
    length, pixels = scale_bar(plane)
    y = height - 8
    for ink, thick in ((RIM, 6), (INK, 2)):
        draw.line([(6, y), (6 + pixels, y)], fill=ink, width=thick)
        for share in (0.0, 0.5, 1.0):
            draw.line([(6 + share * pixels, y), (6 + share * pixels, y - 6)], fill=ink, width=thick)
    write(f"{length} mm", (6, y - 9), "ld")
    return np.asarray(image)
