"""Needle and lead meshes against closed forms; trimesh says whether they are closed."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from meshes.instruments import (
    contact_meshes,
    contact_middles,
    lead_body_mesh,
    lead_meshes,
    needle_mesh,
    wire_mesh,
)
from meshes.swept import frames_along, points_from_tip, swept_pipe, swept_solid

LEAD = SimpleNamespace(radius=0.65, contacts=8, contact_length=3.0, spacing=4.0, tip_length=1.5)
NEEDLE = {"length": 100.0, "outer_radius": 1.05, "bore_radius": 0.8}


def closed(mesh):
    """Return the mesh as trimesh sees it, after asserting that it is closed and faces outward."""
    seen = trimesh.Trimesh(*mesh, process=False)
    assert seen.is_watertight and seen.is_winding_consistent
    assert seen.volume > 0.0
    return seen


def bent_lead(length=140.0, nodes=120):
    """Return a gentle helix piece, tip last."""
    turn = np.linspace(0.0, length / 120.0, nodes)
    return np.stack([30.0 * np.cos(turn), 30.0 * np.sin(turn), 116.0 * turn], axis=-1)


def polygon_area(radius, sides):
    return 0.5 * sides * radius**2 * np.sin(2.0 * np.pi / sides)


@pytest.mark.parametrize("direction", [(0.0, -1.0, 0.0), (0.3, -0.7, 0.5), (0.0, 0.0, 1.0), (0.0, 0.0, -2.0)])
def test_needle_is_a_closed_pipe(direction):
    """Volume of a pipe: wall section times length; Euler number of a ring: 0."""
    seen = closed(needle_mesh((1.0, 2.0, 3.0), direction, **NEEDLE))
    section = polygon_area(1.05, 32) - polygon_area(0.8, 32)
    assert seen.volume == pytest.approx(section * 100.0, rel=1e-9)
    assert seen.euler_number == 0


def test_bevel_takes_half_its_length_off_the_wall():
    """A plane across the axis' middle of the cut halves the cut piece, whatever the section."""
    direction = np.array([0.0, -0.8, 0.6])
    seen = closed(needle_mesh(np.zeros(3), direction, **NEEDLE, bevel_length=3.0))
    section = polygon_area(1.05, 32) - polygon_area(0.8, 32)
    assert seen.volume == pytest.approx(section * 98.5, rel=1e-9)
    along = seen.vertices @ direction
    assert along.max() == pytest.approx(0.0, abs=1e-12)
    # The opening faces the head: the foremost point lies on the other side.
    assert seen.vertices[np.argmax(along), 2] < 0.0


def test_needle_opening_can_be_turned():
    vertices, _ = needle_mesh(np.zeros(3), (0.0, -1.0, 0.0), **NEEDLE, bevel_length=3.0, up=(1.0, 0.0, 0.0))
    assert vertices[np.argmin(vertices[:, 1]), 0] < -1.0


def test_contacts_lie_where_the_lead_says():
    nodes = np.stack([np.zeros(80), np.zeros(80), np.linspace(0.0, 120.0, 80)], axis=-1)
    np.testing.assert_allclose(contact_middles(LEAD), 3.0 + 7.0 * np.arange(8))
    rings = contact_meshes(nodes, LEAD)
    assert len(rings) == 8
    for middle, ring in zip(contact_middles(LEAD), rings):
        heights = closed(ring).vertices[:, 2]
        assert (heights.min(), heights.max()) == pytest.approx((120.0 - middle - 1.5, 120.0 - middle + 1.5))


def test_contact_rings_have_the_volume_of_their_wall():
    sides, wall = 16, 0.1
    for ring in contact_meshes(bent_lead(), LEAD, wall=wall, sides=sides):
        section = polygon_area(0.65, sides) - polygon_area(0.65 - wall, sides)
        assert closed(ring).volume == pytest.approx(3.0 * section, rel=2e-3)


def test_only_contacts_that_are_out_are_drawn():
    # The third ends 18.5 mm from the tip.
    assert len(contact_meshes(bent_lead(length=18.0), LEAD)) == 2
    assert len(contact_meshes(bent_lead(length=140.0), LEAD)) == 8


def test_lead_body_is_closed_and_round_at_the_tip():
    nodes = bent_lead()
    seen = closed(lead_body_mesh(nodes, LEAD, sides=24))
    length = np.linalg.norm(np.diff(nodes, axis=0), axis=1).sum()
    # The rounded end holds two thirds of a cylinder as long as its radius.
    wanted = polygon_area(0.65, 24) * (length - 0.65 / 3.0)
    assert seen.volume == pytest.approx(wanted, rel=2e-3)
    assert np.linalg.norm(seen.vertices - nodes[-1], axis=1).min() < 0.03
    body, rings = lead_meshes(nodes, LEAD)
    assert closed(body).volume > 0.0 and len(rings) == 8


def test_wire_follows_the_lead():
    nodes = bent_lead()
    length = np.linalg.norm(np.diff(nodes, axis=0), axis=1).sum()
    assert closed(wire_mesh(nodes, radius=0.4)).volume == pytest.approx(np.pi * 0.4**2 * length, rel=2e-3)


def test_frames_are_carried_without_twist():
    """In a plane curve a frame carried along keeps the plane's normal."""
    turn = np.linspace(0.0, 2.0, 50)
    points = np.stack([np.cos(turn), np.sin(turn), 0.0 * turn], axis=-1)
    tangents, across, aside = frames_along(points)
    normal = across[0] * (abs(across[0, 2]) > 0.5) + aside[0] * (abs(aside[0, 2]) > 0.5)
    carried = across if abs(across[0, 2]) > 0.5 else aside
    np.testing.assert_allclose(carried @ normal, 1.0, atol=1e-9)
    np.testing.assert_allclose(np.cross(across, aside), tangents, atol=1e-12)


def test_a_curve_along_all_three_axes_still_has_frames():
    """A closed tour past x, y and z: no axis can be `up`; neighbouring frames stay close."""
    turn = np.linspace(0.0, 1.0, 90)
    corners = np.array([[0.0, 0.0, 0.0], [9.0, 0.0, 0.0], [9.0, 9.0, 0.0], [9.0, 9.0, 9.0]])
    points = np.stack([np.interp(3.0 * turn, np.arange(4.0), corners[:, k]) for k in range(3)], axis=-1)
    tangents, across, aside = frames_along(points)
    np.testing.assert_allclose(np.cross(across, aside), tangents, atol=1e-12)
    assert np.einsum("ij,ij->i", across[1:], across[:-1]).min() > 0.5
    closed(swept_solid(points, half_axes=(0.5, 0.5)))


def test_points_from_tip_measure_along_the_line():
    nodes = np.array([[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [3.0, 4.0, 0.0]])
    wanted = [[3.0, 4.0, 0.0], [3.0, 2.0, 0.0], [3.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    np.testing.assert_allclose(points_from_tip(nodes, [0.0, 2.0, 4.0, 6.0, 99.0]), wanted)


def test_guards():
    line = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 10.0]])
    with pytest.raises(ValueError, match=r"points must have shape \(n, 3\) with n >= 2, got \(1, 3\)"):
        swept_solid(line[:1], half_axes=(1.0, 1.0))
    with pytest.raises(ValueError, match="points must differ from their neighbours"):
        swept_solid(line[[0, 0, 1]], half_axes=(1.0, 1.0))
    with pytest.raises(ValueError, match="inner_radius must lie between 0 and outer_radius 1, got 1"):
        swept_pipe(line, outer_radius=1.0, inner_radius=1.0)
    with pytest.raises(ValueError, match="bevel_length must be shorter than the last piece"):
        swept_pipe(line, outer_radius=1.0, inner_radius=0.5, bevel_length=10.0)
    with pytest.raises(ValueError, match="length must be larger than 8 mm, got 8"):
        needle_mesh(line[0], (0.0, 0.0, 1.0), length=8.0, outer_radius=1.0, bore_radius=0.8)
    with pytest.raises(ValueError, match=r"nodes must span more than the lead's thickness 1.3 mm, got 1"):
        lead_body_mesh(line * 0.1, LEAD)
    closed(needle_mesh(line[0], (0.0, 0.0, 1.0), length=8.5, outer_radius=1.0, bore_radius=0.8))
    closed(lead_body_mesh(line * 0.2, LEAD))
    closed(swept_pipe(line, outer_radius=1.0, inner_radius=0.99, bevel_length=9.9))
