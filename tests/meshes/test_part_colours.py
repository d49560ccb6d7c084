"""Kinds and colours of parts by their names."""

import pytest

from meshes.part_colours import COLOURS, part_colour, part_kind


@pytest.mark.parametrize(
    "name, kind",
    [
        ("T12", "bone"), ("S1", "bone"), ("disc T12-L1", "disc"), ("T12 left root", "root"),
        ("T12-L1 interspinous ligament", "ligament"), ("left paraspinal muscle", "muscle"),
        ("rib 12 left", "rib"), ("ilium right", "ilium"), ("rod L4-S1 left", "rod"), ("skin block", "skin"),
        ("something else", "other"),
    ],
)  # fmt: skip
def test_kind_by_name(name, kind):
    assert part_kind(name) == kind and part_colour(name) == COLOURS[kind]


def test_every_part_of_an_anatomy_has_a_kind(anatomy):
    from meshes.parts import named_meshes

    assert [name for name in named_meshes(anatomy) if part_kind(name) == "other"] == []


def test_soft_hulls_are_see_through():
    assert [kind for kind, colour in COLOURS.items() if colour[3] < 255] == ["dura", "skin", "corridor"]
