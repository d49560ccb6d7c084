"""Intervertebral discs as closed meshes that fill the space between two end plates."""

import numpy as np
from scipy.ndimage import gaussian_filter1d

from meshes.fields import evaluate
from meshes.findings import TransitionalLevel, of_kind
from meshes.levels import INTERSPACES, SACRUM, split_interspace
from meshes.lofts import closed_loft
from meshes.sacrum import SLIT
from meshes.sound_canal import uncut_rows

AROUND = 64
RINGS = (0.12, 0.3, 0.5, 0.68, 0.82, 0.92, 0.98)  # shares of the rim's radius
SIDES = (0.2, 0.5, 0.8)  # shares of the height, on the rim
BULGE = 0.6  # [mm] of the rim at half height
RIM_BAND = 4.0  # [mm] of a body below its plate in which the rim is found
RIM_SMOOTHING = 1.5  # of AROUND
SINK = 6.0  # [mm] how deep a plate may be dished
TOUCH = 0.1  # [mm] kept between disc and bone
MARCHES = 8
SHRINKS, SHRINK = 8, 0.95
SACRAL_MIDDLE, SACRAL_WIDTH = (
    -2.0,
    20.0,
)  # [mm] y of the middle of the disc below a lumbarised S1, and its reach


def _half_height(shape):
    return 0.25 * (shape.posterior_height + shape.anterior_height)


def _angles():
    return np.linspace(0.0, 2.0 * np.pi, AROUND, endpoint=False)


def plate_rim(bone, *, side, scale):
    """Return the radius (64,) of a body's rim about its axis, near the upper (+1) or lower (-1) plate."""
    x, y, z = bone.vertices.T
    near = (side * z > scale * (_half_height(bone.shape) - RIM_BAND)) & (
        y < scale * bone.shape.posterior_wall
    )
    angle, radius = np.arctan2(y[near], x[near]), np.hypot(x[near], y[near])
    place = np.round(angle / (2.0 * np.pi) * AROUND).astype(int) % AROUND
    rim = np.zeros(AROUND)
    np.maximum.at(rim, place, radius)
    known = rim > 0.0
    rim = np.interp(_angles(), _angles()[known], rim[known], period=2.0 * np.pi)
    return gaussian_filter1d(rim, RIM_SMOOTHING, mode="wrap")


def _plate_points(bone, pose, rim, *, side, scale):
    """Return points (rings, 64, 3) on the plane of a plate, in the patient's frame."""
    radius = np.array(RINGS)[:, None] * rim
    shape = bone.shape
    tilt = side * 0.5 * (shape.anterior_height - shape.posterior_height) / shape.body_depth
    x, y = radius * np.cos(_angles()), radius * np.sin(_angles())
    z = side * scale * _half_height(shape) - tilt * y
    return pose.apply(np.stack([x, y, z], axis=-1))


def _fitted(packed, level, middle, plate):
    """Return points (rings, 64, 3): from `middle` toward `plate` until the bone."""
    bone = packed.only([level])
    toward = plate - middle
    length = np.linalg.norm(toward, axis=-1, keepdims=True)
    toward = toward / np.maximum(length, 1e-9)
    travelled = np.zeros(length.shape)
    for _ in range(MARCHES):
        room = bone.nearest(middle + travelled * toward)[..., None] - TOUCH
        travelled = np.minimum(travelled + np.maximum(room, 0.0), length + SINK)
    # Over the rim there is nothing to lean on: the disc ends level with the plate there.
    missed = travelled > length + SINK - 0.5
    return middle + np.where(missed, length, travelled) * toward


def disc_mesh(anatomy, interspace):
    """Return vertices, faces of one disc, closed, oriented outward. [mm]

    Both faces lie on the bones, dished plates filled; the rim bulges by 0.6 mm.
    """
    upper, lower = split_interspace(interspace)
    scale, bones, poses = anatomy.parameters.stature_scale, anatomy.bones, anatomy.poses
    above = plate_rim(bones[upper], side=-1.0, scale=scale)
    # The wings of the sacrum are no part of its plate.
    below = np.minimum(plate_rim(bones[lower], side=1.0, scale=scale), 1.1 * above)
    facing = anatomy.packed.only([upper, lower])
    for _ in range(SHRINKS):
        top = _plate_points(bones[upper], poses[upper], above, side=-1.0, scale=scale)
        bottom = _plate_points(bones[lower], poses[lower], below, side=1.0, scale=scale)
        middle = 0.5 * (top + bottom)
        # Where a lip or a pedicle stands up into the space, the disc ends before it.
        struck = (facing.nearest(middle) < TOUCH).any(axis=0)
        if not struck.any():
            break
        above, below = np.where(struck, SHRINK * above, above), np.where(struck, SHRINK * below, below)
    top = _fitted(anatomy.packed, upper, middle, top)
    bottom = _fitted(anatomy.packed, lower, middle, bottom)
    outward = middle[-1] - middle[-1].mean(axis=0)
    outward /= np.linalg.norm(outward, axis=-1, keepdims=True)
    shares = np.array(SIDES)[:, None, None]
    sides = bottom[-1] + shares * (top[-1] - bottom[-1]) + scale * BULGE * np.sin(np.pi * shares) * outward
    return closed_loft(np.concatenate([bottom, sides, top[::-1]]))


def first_sacral_disc(anatomy):
    """Return vertices, faces of the disc in the slit below a lumbarised S1, closed, oriented outward. [mm]

    As wide as the sacrum in front is there, without the wings.
    """
    scale, pose = anatomy.parameters.stature_scale, anatomy.poses[SACRUM]
    (_, y, z), (_, depth, height) = SLIT
    rows, angle = uncut_rows(anatomy.bones[SACRUM].shape.rows), _angles()
    outward = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(AROUND)])
    reach = np.arange(1.0, SACRAL_WIDTH, 0.25)
    middle = np.array([0.0, SACRAL_MIDDLE, z])
    places = middle + reach[None, :, None] * outward[:, None]
    inside = evaluate(rows, places.reshape(-1, 3)).reshape(places.shape[:2]) < 0.0
    inside &= places[..., 1] < y + depth - 1.0
    radius = reach[np.where(inside.all(axis=1), len(reach), np.argmin(inside, axis=1)) - 1]
    rim = gaussian_filter1d(radius, RIM_SMOOTHING, mode="wrap")
    rings = [(share, -1.0) for share in RINGS] + [(share, 1.0) for share in RINGS[::-1]]
    points = [
        middle + share * rim[:, None] * outward + [0.0, 0.0, side * (height - TOUCH)] for share, side in rings
    ]
    return closed_loft(pose.apply(scale * np.stack(points).reshape(-1, 3)).reshape(len(rings), AROUND, 3))


def disc_meshes(anatomy):
    """Return {interspace: (vertices, faces)} of the discs down to L5-S1, or S1-S2 if lumbarised. [mm]"""
    meshes = {name: disc_mesh(anatomy, name) for name in INTERSPACES}
    if any(t.kind == "lumbarised" for t in of_kind(anatomy.parameters.findings, TransitionalLevel)):
        meshes["S1-S2"] = first_sacral_disc(anatomy)
    return meshes
