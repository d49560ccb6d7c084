"""Saline injected through the needle: the dura gives way near its mouth, and the fat there lets go.

How far and over what length is assumed: see meshes/tables/lead.csv.
"""

from dataclasses import dataclass, replace

import numpy as np

from meshes.tables.loader import number


@dataclass(frozen=True)
class Saline:
    """What lies in the epidural space. `volume` in ml, `station` of the mouth along the canal in mm."""

    volume: float = 0.0
    station: float = 0.0

    def __post_init__(self):
        if not self.volume >= 0.0:
            raise ValueError(f"volume must not be negative, got {self.volume}: give 0 ml or more")

    def at(self, stations):
        """Return by how much the dura has given way [mm], and the share of the fat's hold left, each (n,)."""
        stations = np.asarray(stations, float)
        if self.volume == 0.0:
            return np.zeros(len(stations)), np.ones(len(stations))
        most = number("lead", "saline.most_lowering")
        lowering = min(number("lead", "saline.lowering") * self.volume, most)
        near = np.exp(-(((stations - self.station) / number("lead", "saline.reach")) ** 2))
        return lowering * near, 1.0 - number("lead", "saline.loosening") * lowering / most * near


DRY = Saline()


def more(saline, volume, *, station):
    """Return the Saline after another `volume` [ml] at a station [mm]."""
    if not volume >= 0.0:
        raise ValueError(f"volume must not be negative, got {volume}: give 0 ml or more")
    return replace(saline, volume=saline.volume + volume, station=station)
