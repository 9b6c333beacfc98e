"""The days to come: free area and tank litres, what comes dry, and whether more fruit can be taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from drydown.day.now import DayNow, LotNow
from drydown.figures import Band, Figure, Source, Status
from drydown.station.model import Station
from drydown.way.habits import habits_of
from drydown.way.state import LotState, Stage
from drydown.way.yard import dry_matter_of, room_of, spread_m2
from drydown.words import say

__all__ = ["DayAhead", "Room", "can_take", "days_ahead", "free_ahead"]

Array = NDArray[np.float64]
ROOM_SOURCE = Source("each lot's outlook: its place is free once it is dry and taken up", Status.DERIVED)


@dataclass(frozen=True, slots=True)
class Room:
    """A place: its size [m2], and free at the end of each day: early, middle, late, (3, day)."""

    name: str
    size: float
    free: Array


@dataclass(frozen=True, slots=True)
class DayAhead:
    """A day: lots that come dry on it in the middle, with their mass, and the chance of rain."""

    at: datetime
    lots: tuple[str, ...]
    kg: float


def _still_there(lot: LotNow, at: datetime) -> tuple[float, float, float]:
    """Chance that a lot still lies at a moment, in the middle; 0 or 1 by its late and its early date."""
    if lot.outlook is None:
        return 1.0, 1.0, 1.0
    done = lot.outlook.forecast.done_h
    hour = (at - lot.outlook.forecast.case.start) / timedelta(hours=1)
    chance = float(np.mean(np.isnan(done) | (done > hour)))
    return float(chance > 0.9), chance, float(chance > 0.1)


def free_ahead(day: DayNow, days: int = 8) -> list[Room]:
    """Free area of each place at the end of today and of the days after it.

    Args: day; days [count]. Returns: rooms; low is where every lot lies until its late date. Lots on their
    way to a bed are not counted: their place is not said yet.
    """
    rooms = []
    end = day.now.replace(hour=18, minute=0, second=0, microsecond=0)
    for spot in day.yard.beds.values():
        lots = [x for x in day.lots if x.state.stage == Stage.DRYING and x.state.at("bed") == spot.name]
        needs = np.array([room_of(x.state, "bed", day.station) for x in lots])
        free = np.empty((3, days))
        for d in range(days):
            there = np.array([_still_there(x, end + timedelta(days=d)) for x in lots]).reshape(-1, 3)
            free[:, d] = spot.size - (needs[:, None] * there[:, ::-1]).sum(axis=0)
        rooms.append(Room(spot.name, spot.size, free))
    return rooms


def days_ahead(day: DayNow, days: int = 7) -> list[DayAhead]:
    """What comes dry on each of the days to come, in the middle."""
    found = []
    for d in range(days):
        when = (day.now + timedelta(days=d)).date()
        lots = [x for x in day.lots if _dry_day(x) == when]
        found.append(
            DayAhead(
                day.now + timedelta(days=d), tuple(x.code for x in lots), sum(x.state.held_kg for x in lots)
            )
        )
    return found


def _dry_day(lot: LotNow) -> date | None:
    """The day a lot is dry in the middle."""
    middle = lot.outlook.forecast.dry_on()[1] if lot.outlook else None
    return middle.date() if middle else None


def can_take(
    rooms: Sequence[Room], station: Station, species: str, route: str, fruit_kg: float, day: int
) -> tuple[str, Figure | None]:
    """Whether fruit of a day finds room when it comes to be spread.

    Args: rooms, free area by day; station; species; route; fruit_kg; day, 0 for today, when it is spread.
    Returns: an answer in words, and the area it takes [m2] with its working; None where no drying table
    says the load. Source: the station's load, the books' shares, each lot's outlook.
    """
    state = LotState("", species, route)
    habits = habits_of(state, station)
    if habits is None:
        return say("The station file has no drying table for {route}.", route=route), None
    dry_g = dry_matter_of(species, route, station, fruit_kg)
    need = spread_m2(route, species, station, dry_g, habits.load_kg_m2)
    at = min(day, rooms[0].free.shape[1] - 1) if rooms else 0
    low, middle = (sum(max(r.free[i, at], 0.0) for r in rooms) for i in (0, 1))
    inputs = {
        "fruit": f"{fruit_kg:.0f} kg", "load": f"{habits.load_kg_m2:g} kg/m2",
        "free, middle": f"{middle:.0f} m2",
        "free if all lots are late": f"{low:.0f} m2",
    }  # fmt: skip
    figure = Figure(
        need,
        "m2",
        need,
        need,
        Band.EXACT,
        "dry matter of the fruit at the station's load",
        inputs,
        (ROOM_SOURCE,),
    )
    best = max(rooms, key=lambda r: r.free[0, at], default=None)
    if need <= low:
        where = say(" {name} alone has {m:.0f}.", name=best.name, m=best.free[0, at]) if best else ""
        return say(
            "Yes: it takes {n:.0f} m2, and {f:.0f} are free even if every lot is late.{w}",
            n=need,
            f=low,
            w=where,
        ), figure
    if need <= middle:
        return say(
            "Likely: it takes {n:.0f} m2; {m:.0f} are free in the middle, {f:.0f} if every lot is late.",
            n=need,
            m=middle, f=low,
        ), figure  # fmt: skip
    return say(
        "Not as it stands: it takes {n:.0f} m2, and {m:.0f} are free in the middle. {short:.0f} m2 are "
        "short.", n=need,
        m=middle, short=need - middle,
    ), figure  # fmt: skip
