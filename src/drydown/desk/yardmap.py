"""The station's drying places as it drew them: rectangles in metres, seen from above."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.station.model import Station
from drydown.way.yard import Yard

__all__ = ["Map", "Plot", "map_of"]

EDGE_M = 1.5


@dataclass(frozen=True, slots=True)
class Plot:
    """A place on the map: its rectangle [m], the part that is taken [m], lots on it."""

    name: str
    x: float
    y: float
    wide: float
    long: float
    taken: float
    free: float
    lots: int
    over: bool

    @property
    def middle(self) -> tuple[float, float]:
        """Where its name stands."""
        return self.x + self.wide / 2.0, self.y + self.long / 2.0


@dataclass(frozen=True, slots=True)
class Map:
    """Plots and the frame they stand in, `viewBox` [m]."""

    plots: tuple[Plot, ...]
    box: str
    letters: float
    undrawn: tuple[str, ...]


def map_of(station: Station, yard: Yard) -> Map | None:
    """The map, with places that were not drawn named beside it; None where nothing was drawn.

    Args: station; yard. Returns: plots in metres; a place is filled from its near end as far as it is taken.
    """
    plots, undrawn = [], []
    for bed in station.equipment.beds:
        spot = yard.beds.get(bed.name)
        if bed.at_m is None or bed.wide_m is None or spot is None:
            undrawn.append(bed.name)
            continue
        long = bed.area_m2 / bed.wide_m
        taken = long * min(spot.used / spot.size, 1.0)
        plots.append(
            Plot(
                bed.name, bed.at_m[0], bed.at_m[1], bed.wide_m, long, taken, max(spot.size - spot.used, 0.0),
                len(spot.lots), spot.over,
            )
        )  # fmt: skip
    if not plots:
        return None
    left, top = min(p.x for p in plots) - EDGE_M, min(p.y for p in plots) - EDGE_M
    wide = max(p.x + p.wide for p in plots) + EDGE_M - left
    tall = max(p.y + p.long for p in plots) + EDGE_M - top
    return Map(
        tuple(plots), f"{left:g} {top:g} {wide:g} {tall:g}", round(max(wide, tall) / 28.0, 2), tuple(undrawn)
    )
