"""What a plan of the coming days is made of: lots where they stand, fruit that is expected, the station."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.outlook.learnt import StationPrior
from drydown.outlook.skies import Skies
from drydown.outlook.tank import TankTime, TankWindow
from drydown.station.model import Station
from drydown.way.state import LotState

__all__ = ["PER_H", "Coming", "PlanLot", "Week"]

Array = NDArray[np.float64]
PER_H = 4
"""Steps in an hour: a quarter of an hour each."""


@dataclass(frozen=True, slots=True)
class PlanLot:
    """A lot on its way.

    state; worth, what its fruit cost [smallest coin, or grams of fruit where no price is stated]; fruit_kg;
    fruit_at, when its first fruit was weighed; done_h, hours from the plan's start until each future is dry
    (member,), inf where never, for one that dries; tank, window and hours in it, for one that ferments;
    ready, whether a test said so.
    """

    state: LotState
    worth: int
    fruit_kg: float
    fruit_at: datetime
    done_h: Array | None = None
    tank: TankWindow | None = None
    in_tank_h: float = 0.0
    ready: bool = False

    @property
    def name(self) -> str:
        """Its code."""
        return self.state.code


@dataclass(frozen=True, slots=True)
class Coming:
    """Fruit that is expected: a name, species, routes it may take (the first is the usual one), when, and how
    much [kg]: early, middle, late."""

    name: str
    species: str
    routes: tuple[str, ...]
    at: datetime
    kg: float
    low_kg: float
    high_kg: float


@dataclass(frozen=True, slots=True)
class Week:
    """Everything a plan is made of.

    now, local, on a quarter of an hour; days of the plan; risk, share of futures in which a drying time is
    enough; members, futures behind each; tanks, the station's own hours in the tank; wishes, a place for a
    job ("lot 12 stays on the upper beds"); before, the place each job had in the plan that was accepted last.
    """

    now: datetime
    station: Station
    lots: tuple[PlanLot, ...]
    coming: tuple[Coming, ...]
    skies: Skies
    tanks: TankTime
    tank_c: float
    days: int = 8
    risk: float = 0.8
    members: int = 60
    prior: StationPrior | None = None
    wishes: Mapping[str, str] = field(default_factory=dict)
    before: Mapping[str, str] = field(default_factory=dict)
    add: Mapping[str, float] = field(default_factory=dict)
    """More of a thing than there is, by name: how the worth of one more is found."""

    def step_of(self, at: datetime) -> int:
        """The step a moment lies in; below zero before the plan's start."""
        return int(np.floor((at - self.now) / timedelta(hours=1) * PER_H))

    def at(self, step: float) -> datetime:
        """The moment of a step."""
        return self.now + timedelta(hours=step / PER_H)

    @property
    def horizon(self) -> int:
        """Steps of the plan: to the end of its last day."""
        end = self.now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=self.days)
        return self.step_of(end)

    @property
    def first_day(self) -> int:
        """Steps until the first midnight."""
        midnight = self.now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
        return self.step_of(midnight)
