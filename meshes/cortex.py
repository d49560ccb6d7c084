"""Bone as two nested surfaces: outside, and the cancellous core under a cortex of graded thickness.

Both are contours of the bone's distance grid on one coarser grid, so that the shell between them keeps its
thickness.
"""

import numpy as np
from scipy.ndimage import map_coordinates

from meshes.fields import contour
from meshes.tables.loader import number

PITCH = 1.2
# How softly one thickness passes into the next. [mm]
ARCH_BLEND = 1.0
PLATE_BLEND = 0.5
# Upright trabeculae are this many times longer than they stand apart.
UPRIGHT = 2.5
NOISE_WAVES, GOLDEN = 16, 0.5 * (np.sqrt(5.0) - 1.0)
THINNEST_SHARE = 0.3
# Standard deviations beyond which the noise never goes far.
LARGEST_NOISE = 2.5
ARCH_START = 1.5
PLATE_DEPTH = 2.5


def _rise(distance, width):
    """Return 0 to 1 over a few `width` about distance 0."""
    return 0.5 * (1.0 + np.tanh(0.5 * distance / width))


def cortex_thickness(y, z, *, posterior_wall, body_height):
    """Return the thickness of the cortex at places of a vertebra's own frame. [mm]

    Thin round the body, thicker on its plates, thickest on everything behind the posterior wall. A drawing
    rule for simulated films, not a measurement of any one bone.

    Parameters
    ----------
    y, z : (...) float
        Behind and above the body's centre. [mm]
    posterior_wall : float
        y of the posterior wall. [mm]
    body_height : float
        Of the posterior wall. [mm]

    Source
    ------
    Table xray, keys cortex.*.
    """
    wall, plate, arch = (number("xray", f"cortex.{part}") for part in ("wall", "endplate", "arch"))
    behind = _rise(np.asarray(y) - posterior_wall - ARCH_START, ARCH_BLEND)
    at_plate = _rise(np.abs(z) - 0.5 * body_height + PLATE_DEPTH, PLATE_BLEND)
    return (1.0 - behind) * (wall + (plate - wall) * at_plate) + behind * arch


def smooth_noise(points):
    """Return a smooth, random-looking field (n,) about 0, of unit variance, with waves of about 2 long.

    A sum of plane waves in fixed directions: the same place has the same value in every picture.
    """
    turn = np.arange(1, NOISE_WAVES + 1)
    # Directions spread evenly over the sphere, lengths and phases by the golden ratio.
    height = 1.0 - 2.0 * (turn - 0.5) / NOISE_WAVES
    round_ = 2.0 * np.pi * GOLDEN * turn
    across = np.sqrt(1.0 - height**2)
    waves = np.stack([across * np.cos(round_), across * np.sin(round_), height], axis=-1)
    waves *= (np.pi * (0.7 + 0.6 * np.mod(turn * GOLDEN**2, 1.0)))[:, None]
    points = np.asarray(points, np.float32)
    total = np.zeros(points.shape[:-1], np.float32)
    for wave, phase in zip(waves, 2.0 * np.pi * np.mod(turn * np.sqrt(2.0), 1.0)):
        place = sum(points[..., k] * np.float32(wave[k]) for k in range(3))
        total += np.sin(place + np.float32(phase))
    return total * np.sqrt(2.0 / NOISE_WAVES)


def trabecular_roughness(x, y, z):
    """Return how much thinner or thicker than its mean the cortex is at places of a bone. [mm]

    The inside of a cortex is rough where trabeculae rise from it; they stand mostly upright. Here it stands
    for the whole spongy pattern: a hint of grain, not a model of it.
    """
    grain = number("xray", "trabecula.spacing")
    scaled = np.stack(np.broadcast_arrays(x / grain, y / grain, z / (UPRIGHT * grain)), axis=-1)
    return number("xray", "trabecula.roughness") * smooth_noise(scaled)


def coarser_grid(grid, pitch):
    """Return (values, origin) of a distance grid read off linearly at a larger pitch.

    The box is the same or up to one pitch larger; outside the old box the edge value is repeated, which is
    positive there, so contours stay closed.
    """
    shape = np.array(grid.values.shape)
    counts = np.ceil((shape - 1) * grid.pitch / pitch).astype(int) + 1
    axes = [np.arange(count) * (pitch / grid.pitch) for count in counts]
    places = np.stack(np.meshgrid(*axes, indexing="ij")).astype(np.float32)
    values = map_coordinates(grid.values, places, order=1, mode="nearest", output=np.float32)
    return values, np.asarray(grid.origin, float)


def _uneven(values, thickness, *, origin, pitch):
    """Return the thickness (nz, ny, nx) with the roughness of trabeculae, where it can move the surface."""
    roughness = number("xray", "trabecula.roughness")
    thickness = np.broadcast_to(thickness, values.shape).copy()
    near = np.abs(values + thickness) < LARGEST_NOISE * roughness + 2.0 * pitch
    z, y, x = (origin[2 - k] + pitch * places for k, places in enumerate(np.nonzero(near)))
    mean = thickness[near]
    thickness[near] = np.maximum(mean + trabecular_roughness(x, y, z), THINNEST_SHARE * mean)
    return thickness


def nested_surfaces(bone, *, scale=1.0, pitch=PITCH, rough=True):
    """Return the outside and the cancellous core of a bone, each (vertices, faces), in the bone's frame.

    Thin parts have no core. The core may consist of several closed bodies.

    Parameters
    ----------
    bone : Bone
        With grid and shape; the grid is scaled by stature, the shape is not.
    scale : float
        The stature scale.
    pitch : float
        Of the common grid. [mm]
    rough : bool
        Whether the core is as uneven as trabeculae leave it.

    Raises
    ------
    ValueError
        If `pitch` is finer than the bone's own grid.
    """
    if pitch < bone.grid.pitch:
        raise ValueError(
            f"pitch must be at least {bone.grid.pitch:g}, the bone's own, got {pitch:g}: coarsen it"
        )
    values, origin = coarser_grid(bone.grid, pitch)
    z, y = (origin[axis] + pitch * np.arange(values.shape[2 - axis]) for axis in (2, 1))
    thickness = cortex_thickness(
        y[None, :, None],
        z[:, None, None],
        posterior_wall=bone.shape.posterior_wall * scale,
        body_height=bone.shape.posterior_height * scale,
    )
    if rough:
        thickness = _uneven(values, thickness, origin=origin, pitch=pitch)
    core = (values + thickness).astype(np.float32)
    return contour(values, origin, pitch), contour(core, origin, pitch)
