"""Needle and lead as closed meshes: what the 3D view shows and the X-ray is drawn from."""

import numpy as np

from meshes.frames import unit
from meshes.swept import points_from_tip, polyline_length, swept_pipe, swept_pipes, swept_solid
from meshes.tables.loader import number

CONTACT_PIECES = 4
PIECE = 4.0
TIP_RINGS = 4


def needle_mesh(point, direction, *, length, outer_radius, bore_radius, bevel_length=0.0, up=None, sides=32):
    """Return (vertices, faces) of a straight needle, one closed pipe wall.

    The curved (epidural) tip is drawn as a plane cut; the hub is not drawn.

    Parameters
    ----------
    point : (3,) float
        The tip. [mm]
    direction : (3,) float
        Of advance.
    length, outer_radius, bore_radius, bevel_length : float
        [mm]
    up : (3,) float or None
        Which way the opening faces; cranial (+z) if not given.
    """
    point, direction = np.asarray(point, float), unit(direction)
    least = 2.0 * max(bevel_length, PIECE)
    if not length > least:
        raise ValueError(f"length must be larger than {least:g} mm, got {length:g}: lengthen the needle")
    if up is None:
        up = (0.0, 0.0, 1.0) if abs(direction[2]) < 0.99 else (0.0, -1.0, 0.0)
    # Short pieces: a rasteriser looks at every pixel of a triangle's box, which a long slanted one wastes.
    behind = np.append(
        np.arange(length, 1.5 * max(bevel_length, PIECE), -PIECE), [1.2 * max(bevel_length, PIECE), 0.0]
    )
    return swept_pipe(
        point - behind[:, None] * direction,
        outer_radius=outer_radius,
        inner_radius=bore_radius,
        bevel_length=bevel_length,
        up=up,
        sides=sides,
    )


def stylet_mesh(point, direction, *, length, bore_radius, bevel_length=0.0, sides=12):
    """Return (vertices, faces) of the stylet that fills a needle's bore to the middle of its bevel. [mm]"""
    point, direction = np.asarray(point, float), unit(direction)
    radius = bore_radius - number("needle", "stylet.clearance")
    behind = np.append(np.arange(length, 0.5 * bevel_length + PIECE, -PIECE), 0.5 * bevel_length)
    return wire_mesh(point - behind[:, None] * direction, radius=radius, sides=sides)


def anchor_mesh(point, direction, *, sides=20):
    """Return (vertices, faces) of a generic anchor: a smooth sleeve over the lead, closed.

    Parameters
    ----------
    point : (3,) float
        Its middle. [mm]
    direction : (3,) float
        Of the lead in it.
    """
    length, outer, bore = (number("lead", f"anchor.{key}") for key in ("length", "radius", "bore_radius"))
    along = np.linspace(-0.5 * length, 0.5 * length, 7)
    line = np.asarray(point, float) + along[:, None] * unit(direction)
    return swept_pipe(line, outer_radius=outer, inner_radius=bore, sides=sides)


def contact_middles(properties):
    """Return the distances (contacts,) [mm] of the contacts' middles from the tip, contact 1 first.

    `properties` has contacts, contact_length, spacing (bare length between two contacts) and tip_length.
    """
    pitch = properties.contact_length + properties.spacing
    return properties.tip_length + 0.5 * properties.contact_length + pitch * np.arange(properties.contacts)


def contact_meshes(nodes, properties, *, wall=None, sides=16):
    """Return [(vertices, faces), ...] of the contact rings that lie on the polyline, contact 1 first.

    Parameters
    ----------
    nodes : (n, 3) float
        Middle line of the lead, tip last. [mm]
    wall : float or None
        Thickness of the rings [mm]; from the table if not given.
    """
    wall = number("xray", "lead.contact_wall") if wall is None else wall
    half, middles = 0.5 * properties.contact_length, contact_middles(properties)
    middles = middles[middles + half <= polyline_length(nodes)]
    if len(middles) == 0:
        return []
    # From the tail to the tip, as the nodes run.
    distances = middles[::-1, None] + np.linspace(half, -half, CONTACT_PIECES + 1)
    rings, faces = swept_pipes(
        points_from_tip(nodes, distances),
        outer_radius=properties.radius,
        inner_radius=properties.radius - wall,
        sides=sides,
    )
    return [(vertices, faces) for vertices in rings[::-1]]


def lead_body_mesh(nodes, properties, *, sides=12):
    """Return (vertices, faces) of the lead's body, closed, its tip rounded."""
    nodes, radius = np.asarray(nodes, float), properties.radius
    # Distances of the tip's rings from the end, and their radii, on a sphere.
    angle = np.linspace(0.5 * np.pi, 0.0, TIP_RINGS + 1)[1:]
    back = np.concatenate([_kept_distances(nodes, radius), radius * (1.0 - np.cos(angle))])
    radii = np.concatenate([np.full(len(back) - TIP_RINGS, radius), np.maximum(radius * np.sin(angle), 0.02)])
    return swept_solid(points_from_tip(nodes, back), half_axes=np.stack([radii, radii], -1), sides=sides)


def _kept_distances(nodes, radius):
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(nodes, axis=0), axis=1))])
    from_tip = along[-1] - along
    if from_tip[0] <= 2.0 * radius:
        raise ValueError(
            f"nodes must span more than the lead's thickness {2.0 * radius:g} mm, got {from_tip[0]:g} mm: "
            "draw the lead once it leaves the needle"
        )
    return np.append(from_tip[from_tip > 1.2 * radius], radius)


def lead_meshes(nodes, properties):
    """Return the lead's body (vertices, faces) and the list of its contact rings, contact 1 (tip) first."""
    return lead_body_mesh(nodes, properties), contact_meshes(nodes, properties)


def wire_mesh(nodes, *, radius, sides=8):
    """Return (vertices, faces) of a solid wire along a polyline: stylet, conductors.

    Its polygon has the area of the round section, so that a wire thinner than a pixel darkens it as much as
    it should.
    """
    corner = radius * np.sqrt(2.0 * np.pi / (sides * np.sin(2.0 * np.pi / sides)))
    return swept_solid(nodes, half_axes=(corner, corner), sides=sides)
