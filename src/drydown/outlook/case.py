"""A lot to forecast: what it is, where it dries, what is done to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from drydown.steps.dry.data import Place, place
from drydown.steps.dry.routine import Routine
from drydown.steps.dry.run import Joined

__all__ = ["DryingCase", "Stop"]


@dataclass(frozen=True, slots=True)
class Stop:
    """A stay at a place before the last one: so many hours at a load (kg as first spread per m2)."""

    spot: Place
    load_kg_m2: float
    hours: int


@dataclass(frozen=True, slots=True)
class DryingCase:
    """A lot to forecast. `moisture_wb_now` None means fresh from the mill.

    `load_kg_m2` is kg as spread per m2 at the last place, counted at the fresh moisture of
    its form; `stops` come before it; `spot` replaces the place of that name where the
    station's own differs (air of a dryer, age of a film).
    """

    species: str
    form: str
    place: str
    load_kg_m2: float
    target_wb: float
    start: datetime
    routine: Routine
    moisture_wb_now: float | None = None
    stops: tuple[Stop, ...] = ()
    spot: Place | None = None
    joined: Joined | None = None
    """Another lot put on the same bed as the stay at the last place begins."""

    def where(self) -> Place:
        """The last place."""
        return self.spot or place(self.place)
