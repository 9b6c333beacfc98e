"""A small invented yard for the day's lines: lots as plain values, the outlook made once and moved about."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from typing import Any

import numpy as np

from drydown.day.line import Worth
from drydown.day.now import DayNow, LotNow, TankNow
from drydown.figures import Figure
from drydown.outlook.corrected import Corrected, corrected
from drydown.outlook.skies import Skies
from drydown.outlook.tank import learnt_hours, window_of
from drydown.outlook.told import Told
from drydown.station.load import example_text, parse_station
from drydown.way.dry import drying_case
from drydown.way.matter import Matter
from drydown.way.state import LotState, Read, Stage, Stay
from drydown.way.yard import yard_of

__all__ = ["BED", "NOW", "STATION", "day", "drying", "outlook", "state", "tank"]

STATION = parse_station(example_text())
ZONE = STATION.place.site().zone
NOW = datetime(2026, 11, 20, 13, 20, tzinfo=ZONE)
BED = next(iter(STATION.drying_places()))


def state(
    stage: str, days: float = 3.0, wb: float | None = None, read_h: float = 3.0, **more: Any
) -> LotState:
    """A lot at a stage since some days; read some hours ago."""
    reads = () if wb is None else (Read(wb, NOW - timedelta(hours=read_h), "meter 2"),)
    at = NOW - timedelta(days=days)
    plain: dict[str, Any] = {
        "stage": stage, "matter": Matter(80_000, 60_000), "load_kg_m2": 12.0, "spread_at": at, "moved_at": at,
        "reads": reads, "stays": (Stay("bed", BED),) if stage == Stage.DRYING else (),
    }  # fmt: skip
    return LotState("AW-1", "arabica", "washed", **(plain | more))


@cache
def _made() -> Corrected:
    """One outlook of a lot that was spread three days ago, of few futures."""
    case = drying_case(state(Stage.DRYING), STATION)
    assert case is not None
    months = STATION.normals()
    assert months is not None
    return corrected(case, (), Skies(STATION.place.site(), months), 24, seed=1)


def outlook(
    dry_in_h: float = 100.0, spread_h: float = 20.0, asked: bool = False, window: tuple[float, float,
    float] = (20, 30, 45)
) -> Corrected:  # fmt: skip
    """The outlook with its date moved: dry in so many hours from now, futures spread about it."""
    base = _made()
    start = NOW - timedelta(hours=10)
    done = 10.0 + dry_in_h + spread_h * np.linspace(-1.0, 1.0, base.forecast.done_h.size)
    forecast = replace(base.forecast, done_h=done, case=replace(base.forecast.case, start=start))
    low, middle, high = window
    figure: Figure = replace(base.window, value=middle, low=low, high=high)
    told = (Told(60.0, "meter", 0.5, "meter 2"),) if asked else ()
    return replace(base, forecast=forecast, spread_at=NOW - timedelta(days=3), window=figure, asked=told)


def drying(
    wb: float | None = 0.25, read_h: float = 3.0, found: Corrected | None = None, **more: Any
) -> LotNow:
    """A lot on a bed."""
    told: dict[str, Any] = {
        "outlook": found or outlook(), "window_h": (20.0, 30.0), "steps": ("rake", "cover", "uncover", "bag"),
        "covered": False,
    }  # fmt: skip
    return LotNow(state(Stage.DRYING, wb=wb, read_h=read_h), Worth(600.0, 300_000.0, "XTS"), **(told | more))


def tank(hours: float, tested: bool = False, ready: bool = False) -> LotNow:
    """A lot in its tank for some hours."""
    since = NOW - timedelta(hours=hours)
    window = window_of(learnt_hours([]), 20.0, seed=1)
    at = state(Stage.FERMENTING, stays=(Stay("tank", "Tank 1"),), spread_at=None, moved_at=since)
    return LotNow(
        at, Worth(600.0, 300_000.0, "XTS"), tank=TankNow(since, window, tested, ready), steps=("test",
        "wash"),
    )  # fmt: skip


def day(*lots: LotNow, now: datetime = NOW, rain: Any = None, sun: float = 500.0, **more: Any) -> DayNow:
    """A day of these lots, dry and sunny unless said otherwise."""
    chance = np.zeros(36) if rain is None else np.asarray(rain, dtype=float)
    lying = [(x.state, "bed" if x.state.stage == Stage.DRYING else "") for x in lots]
    station = more.pop("station", STATION)
    yard = more.pop("yard", None) or yard_of(STATION, lying)
    return DayNow(now, station, yard, lots, chance, np.full(36, sun), **more)
