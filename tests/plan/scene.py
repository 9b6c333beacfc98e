"""A small invented week for tests of the plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from drydown.outlook.skies import Skies
from drydown.outlook.tank import learnt_hours, window_of
from drydown.plan.drytimes import DryTime, DryTimes
from drydown.plan.week import Coming, PlanLot, Week
from drydown.station.load import example_text, parse_station
from drydown.way.matter import Matter
from drydown.way.state import LotState, Stage, Stay
from drydown.way.yard import dry_matter_of

__all__ = ["NOW", "STATION", "ZONE", "coming", "drying", "in_tank", "small", "times", "week", "wished"]

STATION = parse_station(example_text())
ZONE = STATION.place.site().zone
NOW = datetime(2026, 6, 11, 6, tzinfo=ZONE)
KEPT: dict[str, DryTime] = {}


def week(lots: tuple[PlanLot, ...] = (), fruit: tuple[Coming, ...] = (), **more: Any) -> Week:
    """A week of this station, with few futures."""
    station = more.pop("station", STATION)
    months = station.normals()
    assert months is not None
    plain: dict[str, Any] = {"days": 4, "members": 24}
    return Week(
        NOW,
        station,
        lots,
        fruit,
        Skies(station.place.site(), months),
        learnt_hours([]),
        20.0,
        **(plain | more),
    )


def times(here: Week) -> DryTimes:
    """Drying times kept over all tests."""
    return DryTimes(here, KEPT)


def coming(
    name: str, kg: float, day: int = 0, routes: tuple[str, ...] = ("washed",), hour: int = 15
) -> Coming:
    """Fruit of a day."""
    at = NOW.replace(hour=hour) + timedelta(days=day)
    return Coming(name, "arabica", routes, at, kg, 0.6 * kg, 1.4 * kg)


def drying(name: str, bed: str, kg: float, hours: float, route: str = "natural") -> PlanLot:
    """A lot that lies until so many hours from now, at the plan's risk."""
    dry = dry_matter_of("arabica", route, STATION, kg)
    load = 25.0 if route == "natural" else 12.0
    at = NOW - timedelta(days=5)
    state = LotState(
        name, "arabica", route, Stage.DRYING, Matter(dry, dry), (Stay("bed", bed),), load, at, at
    )
    return PlanLot(state, round(kg * 620), kg, at, np.full(24, hours))


def in_tank(name: str, tank: str, hours: float, kg: float = 600.0, ready: bool = False) -> PlanLot:
    """A lot in a tank for some hours."""
    dry = dry_matter_of("arabica", "washed", STATION, kg)
    at = NOW - timedelta(hours=hours)
    matter = Matter(dry, round(1.2 * dry))
    state = LotState(name, "arabica", "washed", Stage.FERMENTING, matter, (Stay("tank", tank),), moved_at=at)
    window = window_of(learnt_hours([]), 20.0, seed=1)
    return PlanLot(state, round(kg * 620), kg, at - timedelta(hours=2), None, window, hours, ready)


def small(area: float) -> Any:
    """The station with one bed of an area alone."""
    beds = (STATION.equipment.beds[0].model_copy(update={"area_m2": area, "at_m": None, "wide_m": None}),)
    return STATION.model_copy(
        update={"equipment": STATION.equipment.model_copy(update={"beds": beds, "dryers": ()})}
    )


def wished(here: Week, **places: str) -> Week:
    """With a wish."""
    return replace(here, wishes=places)
