"""What kind of part a mesh is, by its name, and the colour it is shown in."""

from meshes.levels import COLUMN

# Red, green, blue, opacity, 0 to 255: an anatomist's plate, not a measurement. Pale bone, yellow flavum.
COLOURS = {
    "bone": (233, 220, 192, 255),
    "rib": (226, 210, 178, 255),
    "ilium": (228, 212, 182, 255),
    "disc": (150, 190, 205, 255),
    "flavum": (236, 196, 72, 255),
    "ligament": (222, 214, 196, 255),
    "muscle": (166, 74, 66, 255),
    "dura": (111, 168, 220, 110),
    "cord": (215, 154, 58, 255),
    "root": (224, 190, 90, 255),
    "screw": (168, 176, 186, 255),
    "rod": (150, 158, 170, 255),
    "spacer": (178, 186, 196, 255),
    "cement": (240, 244, 248, 255),
    "skin": (224, 178, 150, 70),
    "corridor": (96, 196, 136, 80),
    "other": (200, 200, 200, 255),
}
METALS = ("screw", "rod", "spacer")


def part_kind(name):
    """Return the kind of part that a name like 'T12', 'disc T12-L1' or 'T12 left root' stands for."""
    if name in COLUMN:
        return "bone"
    return next((word for word in name.split() if word in COLOURS), "other")


def part_colour(name):
    """Return (red, green, blue, opacity), 0 to 255, of a part by its name."""
    return COLOURS[part_kind(name)]
