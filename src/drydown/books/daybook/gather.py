"""Everything a day is made of, gathered from the books in few questions."""

from __future__ import annotations

import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

import numpy as np
from django.conf import settings
from django.db.models import Count, Min, Q, Sum
from numpy.typing import NDArray

from drydown.books.daybook.flows import wet_now
from drydown.books.daybook.marks import checked_meters, marked, put_off_until
from drydown.books.daybook.plans import plan_now
from drydown.books.loggers.told import troubles
from drydown.books.lots.air import day_said, station_skies
from drydown.books.lots.keeping import keeping_of
from drydown.books.lots.outlook import Asked, Past, asked_of, pasts_of, reckoner, waiting_lessons
from drydown.books.lots.states import fruit_behind_kg, states_of, yard_now
from drydown.books.lots.tanks import full_tanks
from drydown.books.lots.watch import offered
from drydown.books.lots.window import clock_of, stored_clock, with_past
from drydown.books.models import Delivery, Entry, Happening, Lot, Reading
from drydown.books.money.accounts import owed_longest
from drydown.day.line import Worth
from drydown.day.now import DayNow, LotNow, MeterNow, TankNow
from drydown.errors import DrydownError
from drydown.outlook.corrected import Corrected
from drydown.outlook.skies import lot_air
from drydown.station.model import Station
from drydown.way.history import kind_of_method
from drydown.way.order import stage
from drydown.way.state import LotState, Stage

__all__ = ["day_now"]

Array = NDArray[np.float64]
HOURS_AHEAD = 36


def day_now(station: Station, now: datetime, budget_s: float, money: bool = True) -> DayNow:
    """All that a day's lines are made of.

    Args: station; now; budget_s, seconds that may be spent on outlooks that are not kept: what is left is
    counted as waiting; money, whether sums may be told.
    """
    until = time.monotonic() + budget_s
    local = now.astimezone(station.place.site().zone)
    lots = list(_lots())
    states = states_of(lots)
    asked = asked_of([x for x in lots if x.stage == Stage.DRYING], station, now)
    outlooks, waiting = _outlooks(asked.values(), station, until)
    tanks = {
        t.lot.pk: TankNow(t.since.astimezone(local.tzinfo), t.window, t.tested, t.ready)
        for t in full_tanks(station, now)
    }
    handled, first = _handled(asked.keys()), _first_fruit(lots)
    kept = keeping_of(lots, station, now)
    pasts = pasts_of([x for x in lots if stage(x.stage).dry], station)
    rows = []
    for lot in lots:
        outlook = outlooks.get(lot.pk)
        covered, raked = handled.get(lot.pk, (None, None))
        rows.append(
            LotNow(
                states[lot.code], _worth(lot, states[lot.code], station, money), outlook,
                _window(lot, pasts.get(lot.pk), now, outlook), tanks.get(lot.pk), covered, raked,
                first.get(lot.pk),
                tuple(s.kind for s in offered(lot, station)), stage(lot.stage).dry,
                kept.get(lot.pk),
            )
        )  # fmt: skip
    marks = marked(now)
    rain, sun = _air(station, local) if asked else (np.zeros(0), np.zeros(0))
    if not waiting:
        waiting_lessons(station, until)
    return DayNow(
        local, station, yard_now(station), tuple(rows), rain, sun, _meters(marks, now), put_off_until(marks),
        owed_longest(station) if money else None, tuple(troubles(local)), day_said(local), waiting,
        wet_now(local), plan_now(now),
    )  # fmt: skip


def _lots() -> Iterable[Lot]:
    """Lots on their way or in store, with their own fruit."""
    fruit = Sum("deliveries__net_g", filter=Q(deliveries__undone=False))
    lots = Lot.objects.exclude(stage=Stage.GONE).annotate(net=fruit)
    return with_past(lots.exclude(stage=Stage.GATHERING, net=None))


def _outlooks(asked: Iterable[Asked], station: Station, until: float) -> tuple[dict[int, Corrected], int]:
    """Outlooks of lots while there is time, and how many are left; two at a time, as the engine has room
    for."""
    kept = list(asked)
    found = {one.lot.pk: one.found for one in kept if one.found is not None}
    left = [one for one in kept if one.found is None]
    if not left:
        return found, 0
    reckon = reckoner(station)

    def one(lot: Asked) -> Corrected | DrydownError | None:
        if time.monotonic() >= until:
            return None
        try:
            return reckon(lot)
        except DrydownError as error:
            return error  # its page says why there is none

    with ThreadPoolExecutor(2) as pool:
        made = list(pool.map(one, left))
    found |= {a.lot.pk: out for a, out in zip(left, made, strict=True) if isinstance(out, Corrected)}
    return found, sum(out is None for out in made)


def _handled(ids: Iterable[int]) -> dict[int, tuple[bool | None, datetime | None]]:
    """Whether each lot is covered by the log, and when it was last raked."""
    found: dict[int, tuple[bool | None, datetime | None]] = {}
    rows = Happening.objects.filter(lot__in=list(ids), undone=False, kind__in=("cover", "uncover", "rake"))
    for pk, kind, at in rows.order_by("happened_at", "entry_id").values_list("lot_id", "kind", "happened_at"):
        covered, raked = found.get(pk, (None, None))
        found[pk] = (covered, at) if kind == "rake" else (kind == "cover", raked)
    return found


def _first_fruit(lots: list[Lot]) -> dict[int, datetime]:
    """When the first fruit of each lot that is not dried yet was weighed."""
    wet = [x.pk for x in lots if x.stage in {Stage.GATHERING, Stage.FLOATED}]
    rows = Delivery.objects.filter(lot__in=wet, undone=False).values("lot_id").annotate(at=Min("happened_at"))
    return {row["lot_id"]: row["at"] for row in rows}


def _worth(lot: Lot, state: LotState, station: Station, money: bool) -> Worth:
    """Fruit behind a lot, and what it cost at the station's price."""
    net = getattr(lot, "net", None)
    fruit = net / 1000.0 if net else fruit_behind_kg(lot)
    price = station.money.cherry_price_per_kg.get(state.species) if money else None
    return Worth(fruit, None) if price is None else Worth(fruit, fruit * price, station.money.currency)


def _window(
    lot: Lot, past: Past | None, now: datetime, outlook: Corrected | None
) -> tuple[float, float] | None:
    """Hours in the mould window, so far and in all; by the readings alone only where no outlook can be
    made."""
    if lot.stage == Stage.DRYING:
        if outlook is None:
            return None
        clock = clock_of(lot, now, outlook)
        return clock.told_h, clock.whole_h
    if not stage(lot.stage).dry or lot.spread_at is None:
        return None
    stored = stored_clock(lot, past.window_h) if past and past.window_h is not None else None
    return (stored.so_far_h, stored.whole_h) if stored else None


def _air(station: Station, local: datetime) -> tuple[Array, Array]:
    """Chance of rain and middle sun of the coming hours; nothing where no climate is known."""
    begin = local.replace(minute=0, second=0, microsecond=0)
    try:
        air = lot_air(station_skies(station), begin, HOURS_AHEAD, settings.FUTURES, seed=1001).air
    except DrydownError:
        return np.zeros(0), np.zeros(0)
    return (air.rain_mm > 0.1).mean(axis=0), np.median(air.ghi_wm2, axis=0)


def _meters(marks: list[Entry], now: datetime) -> tuple[MeterNow, ...]:
    """Moisture meters that were used in the last thirty days."""
    checked = checked_meters(marks)
    rows = Reading.objects.filter(undone=False, happened_at__gte=now - timedelta(days=30)).values("method")
    rows = rows.annotate(n=Count("pk"), first=Min("happened_at"))
    found: dict[str, MeterNow] = {}
    for row in rows:
        kind, name = kind_of_method(row["method"])
        if kind == "meter":
            old = found.get(name)
            count, first = (
                (row["n"] + old.readings, min(row["first"], old.first_at))
                if old
                else (row["n"], row["first"])
            )
            found[name] = MeterNow(name, count, checked.get(name), first)
    return tuple(found.values())
