"""Tanks by the records: what the station's own taught of their hours, and when one that is full will be
ready."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from django.core.cache import cache
from django.db.models import Count, Max

from drydown.books.loggers.told import tank_c
from drydown.books.lots.air import air_stamp, station_skies
from drydown.books.models import Happening, Lot
from drydown.errors import DrydownError
from drydown.fingerprint import MODEL, fingerprint
from drydown.outlook.skies import lot_air
from drydown.outlook.tank import TankRun, TankTime, TankWindow, learnt_hours, window_of
from drydown.station.model import Station
from drydown.way.ferment import says_ready
from drydown.way.state import Stage

__all__ = ["FullTank", "full_tanks", "learnt_tanks", "mean_c", "tank_of"]

MOST_TANKS = 60
"""The latest tanks that are learnt from."""
UNKNOWN_C = 20.0
ROOM_C = 1.0
"""A fermenting mass is taken to be so much warmer than the air (own estimate)."""


@dataclass(frozen=True, slots=True)
class FullTank:
    """A lot in its tank: since when, its window, and what was known of it."""

    lot: Lot
    since: datetime
    window: TankWindow
    read_c: float | None
    tested: bool
    ready: bool

    def at(self, hours: float) -> datetime:
        """The moment so many hours after filling."""
        return self.since + timedelta(hours=hours)


def full_tanks(station: Station, now: datetime) -> list[FullTank]:
    """Every lot that ferments, with its window."""
    time = learnt_tanks(station)
    return [tank_of(lot, station, now, time) for lot in Lot.objects.filter(stage=Stage.FERMENTING)]


def tank_of(lot: Lot, station: Station, now: datetime, time: TankTime | None = None) -> FullTank:
    """When a lot in a tank will be ready: by the station's tanks and its own tests."""
    rows = list(lot.happenings.filter(undone=False, kind__in=("ferment", "test")).order_by("happened_at"))
    fills = [h for h in rows if h.kind == "ferment"]
    since = fills[-1].happened_at if fills else (lot.moved_at or now)
    tests = [h for h in rows if h.kind == "test" and h.happened_at >= since]
    not_yet, ready = _bounds(tests, since)
    read = [float(h.details["tank_c"]) for h in tests if h.details.get("tank_c") is not None]
    logged = tank_c(lot.tank, since, now) if lot.tank else None
    temp = logged if logged is not None else float(np.mean(read)) if read else mean_c(station, since)
    window = window_of(time or learnt_tanks(station), temp, not_yet, ready, seed=lot.pk)
    return FullTank(lot, since, window, read[-1] if read else None, bool(tests), ready < float("inf"))


def _bounds(tests: Iterable[Happening], since: datetime) -> tuple[float, float]:
    """Hours of the last test that said not yet, and of the first after it that said ready (inf: none did)."""
    not_yet, ready = 0.0, float("inf")
    for test in tests:
        hour = (test.happened_at - since) / timedelta(hours=1)
        if says_ready(test.details):
            ready = min(ready, hour)
        else:
            not_yet, ready = hour, float("inf")  # a later "not yet" rules over an earlier "ready"
    return max(not_yet, 0.0), max(ready, not_yet + 0.01)


def mean_c(station: Station, since: datetime) -> float:
    """Temperature of a mass that nobody read: the air's mean of the day it was filled on, a little warmer."""
    try:
        air = lot_air(station_skies(station), since, 24, 20, seed=1001).air
    except DrydownError:
        return UNKNOWN_C
    return float(air.temp_c.mean()) + ROOM_C


def learnt_tanks(station: Station) -> TankTime:
    """What the station's washed tanks teach of their hours; kept until another tank is tested or washed."""
    told = Happening.objects.filter(undone=False, kind__in=("ferment", "test", "wash"))
    found = told.aggregate(n=Count("pk"), last=Max("entry_id"))
    name = f"tanks-{found['n']}-{found['last']}-{fingerprint(*MODEL)}-{air_stamp(station).short}"
    kept = cache.get(name)
    if isinstance(kept, TankTime):
        return kept
    made = _learnt(station)
    cache.set(name, made, 7 * 86400)
    return made


def _learnt(station: Station) -> TankTime:
    rows = Happening.objects.filter(undone=False, kind__in=("ferment", "test", "wash")).order_by(
        "happened_at"
    )
    by_lot: dict[int, list[Happening]] = {}
    for row in rows.filter(lot__in=_washed()).select_related("lot"):
        by_lot.setdefault(row.lot_id, []).append(row)
    return learnt_hours([run for own in by_lot.values() if (run := _run(own, station)) is not None])


def _washed() -> list[int]:
    """Lots that were washed, the latest."""
    rows = Happening.objects.filter(undone=False, kind="wash").order_by("-happened_at")
    return list(rows.values_list("lot_id", flat=True)[:MOST_TANKS])


def _run(rows: list[Happening], station: Station) -> TankRun | None:
    """A washed tank; None where no test said that it was ready: the hour it was washed tells little."""
    fills = [h for h in rows if h.kind == "ferment"]
    washes = [h for h in rows if h.kind == "wash"]
    if not fills or not washes or washes[-1].happened_at <= fills[-1].happened_at:
        return None
    since = fills[-1].happened_at
    tests = [h for h in rows if h.kind == "test" and since <= h.happened_at <= washes[-1].happened_at]
    not_yet, ready = _bounds(tests, since)
    if not tests or ready == float("inf"):
        return None
    read = [float(h.details["tank_c"]) for h in tests if h.details.get("tank_c") is not None]
    return TankRun(not_yet, ready, float(np.mean(read)) if read else mean_c(station, since))
