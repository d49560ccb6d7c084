"""What every picture carries: its sides, the head, a scale and the name of the view."""

from functools import cache, lru_cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from meshes.units import degrees

SCALE_LENGTHS = (100, 50, 20, 10, 5, 2, 1)
LARGEST_SCALE_SHARE = 0.13
# A side is named when the picture's edge points to it by at least this cosine.
NAMED = 0.38
INK, RIM = 236, 12


def _edges(carm, turn, flipped):
    """Return {edge of the screen: direction (3,) in the patient} for left, right, top and bottom."""
    c, s = np.cos(turn), np.sin(turn)
    along = {"right": (c, -s), "top": (s, c)}
    mirror = -1.0 if flipped else 1.0
    found = {edge: mirror * x * carm.axes[0] + y * carm.axes[1] for edge, (x, y) in along.items()}
    return found | {"left": -found["right"], "bottom": -found["top"]}


def _names(direction):
    words = [
        ("L" if direction[0] > 0 else "R", direction[0]),
        ("Back" if direction[1] > 0 else "Front", direction[1]),
    ]
    return " ".join(word for word, share in words if abs(share) >= NAMED)


def side_names(carm, *, turn=0.0, flipped=False):
    """Return the words at the left and the right edge: L or R, Back or Front, both in an oblique view."""
    edges = _edges(carm, turn, flipped)
    return _names(edges["left"]), _names(edges["right"])


def head_edge(carm, *, turn=0.0, flipped=False):
    """Return which edge of the screen the head lies at: top, bottom, left or right."""
    edges = _edges(carm, turn, flipped)
    return max(edges, key=lambda edge: edges[edge][2])


def view_name(carm, *, flipped=False):
    """Return how the view is called: AP, Lateral, or its angles; and whether it is mirrored."""
    orbit, tilt = round(degrees(carm.orbit)), round(degrees(carm.tilt))
    name = {0: "AP", 90: "Lateral", -90: "Lateral"}.get(orbit, f"Orbit {orbit}°")
    if tilt:
        name += f", {abs(tilt)}° to the {'head' if tilt > 0 else 'feet'}"
    if swivel := round(degrees(carm.swivel)):
        name += f", swivel {swivel}°"
    return name + (", mirrored" if flipped else "")


def scale_bar(carm):
    """Return (millimetres, pixels) of the longest round scale that fits, in the plane of the isocentre."""
    largest = LARGEST_SCALE_SHARE * carm.pixels
    length = next((mm for mm in SCALE_LENGTHS if mm * carm.pixels_per_mm <= largest), SCALE_LENGTHS[-1])
    return length, length * carm.pixels_per_mm


@cache
def _font(size):
    return ImageFont.load_default(size)


def mark(picture, carm, *, turn=0.0, flipped=False):
    """Return a copy of a picture (n, n) uint8 with side letters, head arrow, scale and name on it."""
    places, shares, ink = _overlay(carm, turn, flipped)
    marked = picture.copy().reshape(-1)
    marked[places] = ink + shares * marked[places]
    return marked.reshape(picture.shape)


def shown(picture, carm, display):
    """Return a picture as it stands on the screen: flipped, turned and, if wished, marked."""
    if display.flipped:
        picture = picture[:, ::-1]
    quarters = display.turn / (0.5 * np.pi)
    if abs(quarters - round(quarters)) < 1e-9:
        picture = np.rot90(picture, round(quarters))
    else:
        turned = Image.fromarray(picture).rotate(degrees(display.turn), Image.Resampling.BILINEAR)
        picture = np.asarray(turned)
    picture = np.ascontiguousarray(picture)
    if not display.marked:
        return picture
    return mark(picture, carm, turn=display.turn, flipped=display.flipped)


@lru_cache(maxsize=16)
def _overlay(carm, turn, flipped):
    """Return the marks: flat places, the share of the picture that shines through, and the ink over it."""
    on_black, on_white = (
        np.asarray(_drawn(np.full((carm.pixels, carm.pixels), grey, np.uint8), carm, turn, flipped), float)
        for grey in (0, 255)
    )
    through = (on_white - on_black) / 255.0
    places = np.flatnonzero(through < 1.0)
    return places, through.reshape(-1)[places], on_black.reshape(-1)[places]


def _drawn(picture, carm, turn, flipped):
    image = Image.fromarray(picture)
    draw, n = ImageDraw.Draw(image), carm.pixels
    size = max(14.0, n / 34.0)

    def write(words, place, anchor):
        draw.multiline_text(
            place,
            words,
            fill=INK,
            font=_font(size),
            anchor=anchor,
            stroke_width=round(size / 7.0),
            stroke_fill=RIM,
            align="center",
        )

    margin, middle = 0.022 * n, 0.5 * n
    head = head_edge(carm, turn=turn, flipped=flipped)
    edges = _edges(carm, turn, flipped)
    places = {
        "left": ((margin, middle), "lm"),
        "right": ((n - margin, middle), "rm"),
        "top": ((middle, margin), "ma"),
        "bottom": ((middle, n - margin), "md"),
    }
    upright = head in ("top", "bottom")
    for edge in ("left", "right") if upright else ("top", "bottom"):
        write(_names(edges[edge]).replace(" ", "\n"), *places[edge])
    write(view_name(carm, flipped=flipped).replace(", ", "\n"), (0.4 * size, 0.4 * size), "la")
    _arrow(draw, n, size, head)
    beside = {
        "top": ((middle + 0.7 * size, margin + 0.6 * size), "lm"),
        "bottom": ((middle + 0.7 * size, n - margin - 0.6 * size), "lm"),
        "left": ((margin, middle - 0.7 * size), "ld"),
        "right": ((n - margin, middle - 0.7 * size), "rd"),
    }
    write("Head", *beside[head])
    length, pixels = scale_bar(carm)
    _scale(draw, n, size, pixels)
    write(f"{length} mm", (0.5 * size, n - 1.1 * size), "ld")
    return image


def _arrow(draw, n, size, edge):
    """Draw an arrow at the middle of an edge that points out over it."""
    shapes = [
        ("line", [(0.0, 0.4), (0.0, 1.25)], RIM, 0.45),
        ("polygon", [(0.0, -0.15), (-0.58, 0.67), (0.58, 0.67)], RIM, 0.0),
        ("line", [(0.0, 0.5), (0.0, 1.25)], INK, 0.18),
        ("polygon", [(0.0, 0.0), (-0.4, 0.55), (0.4, 0.55)], INK, 0.0),
    ]

    def placed(across, inward):
        x, y = 0.5 * n + across * size, 0.022 * n + inward * size
        return {"top": (x, y), "bottom": (x, n - y), "left": (y, x), "right": (n - y, x)}[edge]

    for kind, points, fill, width in shapes:
        where = [placed(*point) for point in points]
        if kind == "line":
            draw.line(where, fill=fill, width=round(width * size))
        else:
            draw.polygon(where, fill=fill)


def _scale(draw, n, size, pixels):
    x, y = 0.5 * size, n - 0.6 * size
    for tick in (0.0, 0.5, 1.0):
        draw.line([(x + tick * pixels, y), (x + tick * pixels, y - 0.35 * size)], fill=INK, width=2)
    draw.line([(x, y), (x + pixels, y)], fill=INK, width=2)


def stamp(picture, words):
    """Return a copy of a picture (n, n) uint8 with words in its lower right corner."""
    image = Image.fromarray(np.ascontiguousarray(picture))
    n = len(picture)
    size = max(14.0, n / 34.0)
    ImageDraw.Draw(image).text(
        (n - 0.5 * size, n - 0.5 * size),
        words,
        fill=INK,
        font=_font(size),
        anchor="rd",
        stroke_width=round(size / 7.0),
        stroke_fill=RIM,
    )
    return np.asarray(image)
