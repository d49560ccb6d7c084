"""The only place where edge units (degrees) meet the units inside (radians)."""

import math

import numpy as np


def radians(degrees):
    """Return an angle, or an array of angles, in radians."""
    return math.radians(degrees) if np.isscalar(degrees) else np.radians(degrees)


def degrees(radians):
    """Return an angle, or an array of angles, in degrees."""
    return math.degrees(radians) if np.isscalar(radians) else np.degrees(radians)
