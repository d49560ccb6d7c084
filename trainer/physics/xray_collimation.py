"""Lead in the beam: a round iris and two pairs of shutters, which spare dose and scatter."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from meshes.tables.loader import number

SMALLEST = 0.1
# Width of the soft edge, in pixels.
PENUMBRA = 3.0


@dataclass(frozen=True)
class Collimation:
    """How far iris and shutters are open, as shares of the half width of the picture.

    Parameters
    ----------
    iris : float
        Radius of the round opening; 1 is fully open.
    across, along : float
        Half width of the opening between the shutters left and right, and top and bottom.
    turn : float
        Of both pairs of shutters, against the clock on the picture. [rad]

    Raises
    ------
    ValueError
        If an opening is not between a tenth and 1, or `turn` is not finite.
    """

    iris: float = 1.0
    across: float = 1.0
    along: float = 1.0
    turn: float = 0.0

    def __post_init__(self):
        for name in ("iris", "across", "along"):
            value = getattr(self, name)
            if not SMALLEST <= value <= 1.0:
                raise ValueError(
                    f"{name} must lie between {SMALLEST:g} and 1, got {value!r}: "
                    "give the share of the picture that stays open"
                )
        if not np.isfinite(self.turn):
            raise ValueError(f"turn must be finite, got {self.turn!r}: 0 is upright")

    def opening(self, pixels):
        """Return (pixels, pixels) float32, 1 where the beam passes, 0 behind lead; read-only."""
        return _opening(self, pixels)

    @property
    def open_share(self):
        """Share of the square detector that the beam reaches."""
        return float(_opening(self, 256).mean())


OPEN = Collimation()


def _soft(inside):
    return np.clip(inside / PENUMBRA + 0.5, 0.0, 1.0)


@lru_cache(maxsize=8)
def _opening(collimation, pixels):
    right = np.arange(pixels) + 0.5 - 0.5 * pixels
    x, y = right[None, :], -right[:, None]
    radius = number("xray", "display.collimation") * pixels
    c, s = np.cos(collimation.turn), np.sin(collimation.turn)
    inside = _soft(collimation.iris * radius - np.hypot(x, y))
    for share, place in ((collimation.across, c * x + s * y), (collimation.along, c * y - s * x)):
        if share < 1.0:
            inside = inside * _soft(share * radius - np.abs(place))
    inside = inside.astype(np.float32)
    inside.setflags(write=False)
    return inside
