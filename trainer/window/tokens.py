"""Every colour, size and line of the window. Nothing elsewhere names a colour."""

# Roles.
GROUND = "#11161a"  # behind everything; the surround of an X-ray
PANEL = "#1a2127"  # strips, columns, cards
RAISED = "#27313a"  # what can be pressed
HOVER = "#2d3842"
PRESSED = "#33404b"
LINE = "#3d4b57"  # hairlines between things; never the only sign of a control
EDGE = "#7b8c9a"  # a border that must be found
CHALK = "#eaf0f3"  # text
MUTED = "#b3c0c9"  # names of values, units
ACT = "#7cc7ee"  # what you may do, do now, where you are
INK = "#0c1216"  # text on light fills
MET = "#63d0ab"  # disc with tick
NEAR = "#f3cf62"  # triangle with stroke
MISSED = "#f47a52"  # square with cross

# Materials inside pictures; never a verdict.
BONE = "#e9dcc0"
NEEDLE = "#eef3f6"
LEAD = "#ffd23f"
SECOND_LEAD = "#f2a65a"
DURA = "#6fa8dc"
CORD = "#d79a3a"
WAY_IN = "#7cc7ee"
SKIN = "#c99a80"
DRAPE = "#3f6066"

# Text and what it may stand on; a test holds each pair to 4.5:1.
TEXT_PAIRS = (
    *((ink, ground) for ink in (CHALK, MUTED) for ground in (GROUND, PANEL, RAISED, HOVER)),
    (CHALK, PRESSED),
    *((INK, ground) for ground in (ACT, MET, NEAR, MISSED, MUTED)),
    *((ink, ground) for ink in (ACT, MET, NEAR, MISSED) for ground in (GROUND, PANEL)),
)

GRID = 8
RADIUS, SMALL_RADIUS = 6, 3
HAIRLINE, STROKE, BOLD = 1.0, 2.0, 3.0

# role: (pixels at scale 1, weight)
TYPE = {
    "label": (14, 400),
    "text": (14, 400),
    "strong": (14, 600),
    "lead in": (16, 400),
    "title": (18, 600),
    "value": (20, 600),
    "heading": (30, 600),
    "figure": (44, 600),
}
SCALES = (1.0, 8 / 7, 9 / 7)

# Heights and widths at scale 1, in pixels.
TOP_STRIP, READING_STRIP, CONTROL = 48, 64, 40
COLUMN, PLAN_COLUMN, DEBRIEF_COLUMN = 280, 352, 432


def luminance(colour):
    """Return the relative luminance of a colour like "#7cc7ee".

    Source
    ------
    Web Content Accessibility Guidelines 2.2, definition of relative luminance.
    """
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Return the contrast ratio of two colours, 1 to 21.

    Source
    ------
    Web Content Accessibility Guidelines 2.2, definition of contrast ratio.
    """
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
