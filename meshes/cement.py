"""Cement in a vertebral body: one rounded, slightly lobed mass of the volume that was asked for."""

import numpy as np
import trimesh

from meshes.findings import VertebralCement, of_kind
from meshes.levels import COLUMN
from meshes.measure_meshes import enclosed_volume
from meshes.tables.loader import number

POWER = 3.0  # of the superellipsoid: bodies are fuller than an ellipsoid
WAIST = 0.86  # share of a body's width and depth that its waist leaves
FORWARD = 0.04  # share of the depth by which the mass lies in front of the middle
PER_CC = 1000.0  # [mm³]
SUBDIVISIONS = 4


def _unit_mass(level):
    """Return a ball (vertices, faces) made fuller and lobed, one at most along each axis."""
    ball = trimesh.creation.icosphere(subdivisions=SUBDIVISIONS)
    points = np.asarray(ball.vertices, float)
    full = points / (np.abs(points) ** POWER).sum(axis=1, keepdims=True) ** (1.0 / POWER)
    turn = np.arctan2(points[:, 1], points[:, 0]) + 0.7 * COLUMN.index(level)
    lobe = np.sin(3.0 * turn) * np.cos(2.0 * points[:, 2] + turn) * np.hypot(points[:, 0], points[:, 1])
    dent = 1.0 - number("implants", "cement.lobes") * (0.5 + 0.5 * lobe)
    return full * dent[:, None], np.asarray(ball.faces)


def _largest(bone, *, width_scale=1.0, scale=1.0):
    """Return the largest mass (vertices, faces) that a body takes, in the bone's frame. [mm]"""
    shape, share = bone.shape, 0.5 * number("implants", "cement.share_of_body")
    width = number("vertebrae", f"{bone.level}.upper_endplate_width") * width_scale
    height = min(shape.anterior_height, shape.posterior_height)
    half = share * np.array([WAIST * width, WAIST * shape.body_depth, height]) * scale
    vertices, faces = _unit_mass(bone.level)
    return vertices * half + [0.0, -FORWARD * shape.body_depth * scale, 0.0], faces


def cement_mesh(bone, volume, *, width_scale=1.0, scale=1.0):
    """Return (vertices, faces) of `volume` [cc] of cement in the bone's frame, closed.

    Raises
    ------
    ValueError
        If the body cannot hold so much.
    """
    vertices, faces = _largest(bone, width_scale=width_scale, scale=scale)
    most = enclosed_volume(vertices, faces) / PER_CC
    if volume > most:
        raise ValueError(
            f"volume of vertebral-cement must be at most {most:.1f} cc for {bone.level} of this size, "
            f"got {volume:g}: give less"
        )
    middle = vertices.mean(axis=0)
    return middle + (vertices - middle) * (volume / most) ** (1.0 / 3.0), faces


def cement_meshes(anatomy):
    """Return {'cement L1': (vertices, faces)} of an anatomy's findings in the patient's frame. [mm]"""
    parameters, found = anatomy.parameters, {}
    for finding in of_kind(parameters.findings, VertebralCement):
        vertices, faces = cement_mesh(
            anatomy.bones[finding.level],
            finding.volume,
            width_scale=parameters.width_scale,
            scale=parameters.stature_scale,
        )
        found[f"cement {finding.level}"] = anatomy.poses[finding.level].apply(vertices), faces
    return found
