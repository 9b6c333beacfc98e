"""A week's plan from the records: lots as they stand with their outlooks, fruit as it is expected."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, MutableMapping
from datetime import date, datetime, timedelta, tzinfo

import numpy as np
from django.conf import settings
from django.core.cache import cache
from django.utils import timezone

from drydown.books.daybook.gather import day_now
from drydown.books.daybook.plans import last_accepted
from drydown.books.daybook.season import fruit_by_day
from drydown.books.journal.write import Draft, Who, write
from drydown.books.lots.air import air_stamp, station_skies
from drydown.books.lots.outlook import learnt_prior
from drydown.books.lots.tanks import learnt_tanks, mean_c
from drydown.books.models import Delivery, Entry
from drydown.day.now import DayNow, LotNow
from drydown.errors import InputError, RangeError
from drydown.fingerprint import MODEL, fingerprint
from drydown.plan.drytimes import DryTime, DryTimes
from drydown.plan.week import Coming, PlanLot, Week
from drydown.station.harvest import expected_days, seasons
from drydown.station.model import Station
from drydown.station.trade import Money
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["dry_times", "expect", "expected", "week_of"]

BACK = timedelta(days=21)
LEAST_SHARE = 0.05
MEMBERS = 60


class _Kept(MutableMapping[str, DryTime]):
    """Drying times in the cache, by a hash of all they are made of."""

    def __getitem__(self, key: str) -> DryTime:
        found = cache.get(key)
        if not isinstance(found, DryTime):
            raise KeyError(key)
        return found

    def __setitem__(self, key: str, value: DryTime) -> None:
        cache.set(key, value, 10 * 86400)

    def __delitem__(self, key: str) -> None:
        cache.delete(key)

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


def dry_times(week: Week) -> DryTimes:
    """Drying times of a week, kept from one plan to the next."""
    midnight = week.now.replace(hour=0, minute=0, second=0, microsecond=0)  # one day, one set of times
    stamp = repr((fingerprint(*MODEL), air_stamp(week.station).since(midnight)))
    return DryTimes(week, _Kept(), stamp)


def week_of(
    station: Station,
    now: datetime,
    days: int = 8,
    wishes: dict[str, str] | None = None,
    budget_s: float = 5.0,
) -> tuple[Week, int]:  # fmt: skip
    """The week as the books have it, and how many lots' outlooks are not reckoned yet.

    Args: station; now; days of the plan, 2 to 14; wishes, a place for a lot; budget_s for outlooks.
    """
    if not 2 <= days <= 14:
        raise RangeError(say("must be from 2 to 14, got {d}.", d=days), "days")
    here = day_now(station, now, budget_s, money=True)
    local = here.now.replace(second=0, microsecond=0)
    local = local.replace(minute=local.minute // 15 * 15)
    lots = tuple(x for x in (_lot(y, local, station.money) for y in here.lots) if x is not None)
    before = last_accepted()
    week = Week(
        local, station, lots, tuple(_coming(station, here, days)), station_skies(station),
        learnt_tanks(station), mean_c(station, local), days, members=min(MEMBERS, settings.FUTURES),
        prior=learnt_prior(station), wishes=wishes or {}, before=before.places() if before else {},
    )  # fmt: skip
    return week, here.waiting


def _lot(lot: LotNow, now: datetime, money: Money) -> PlanLot | None:
    """A lot that is on its way; None for one that is dry or empty."""
    if lot.dry or lot.state.stage == Stage.GONE or not lot.state.matter.mass:
        return None
    worth = money.coins(lot.worth.money) if lot.worth.money is not None else round(1000 * lot.worth.fruit_kg)
    done = None
    if lot.outlook is not None:
        f = lot.outlook.forecast
        done = np.where(np.isnan(f.done_h), np.inf, f.done_h) - (now - f.case.start) / timedelta(hours=1)
    tank, since = None, 0.0
    if lot.tank is not None:
        tank, since = lot.tank.window, (now - lot.tank.since) / timedelta(hours=1)
    first = lot.first_fruit_at or lot.state.moved_at or now
    ready = lot.tank.ready if lot.tank is not None else False
    return PlanLot(lot.state, worth, lot.worth.fruit_kg, first, done, tank, since, ready)


# ---- fruit that is expected ----


def expect(on: date, species: str, route: str, kg: float, key: uuid.UUID, who: Who) -> Entry:
    """Keep what somebody expects of a day; the last word on a day, species and route counts.

    Args: kg [kg], 0 for none. Raises `RangeError` for what cannot be.
    """
    if not 0.0 <= kg <= 1e6:
        raise RangeError(say("must be from 0 to 1 000 000 kg, got {kg:g}.", kg=kg), "fruit expected")
    today = timezone.now().date()
    if not -1 <= (on - today).days <= 21:
        raise InputError("can be told for the next three weeks.", "the day")
    body = {"day": on.isoformat(), "species": species, "route": route, "kg": kg}
    return write(Draft("expect", key, body, [], timezone.now(), who))[0]


def _said() -> dict[tuple[date, str, str], float]:
    """What was typed of the days to come."""
    found: dict[tuple[date, str, str], float] = {}
    rows = Entry.objects.filter(
        kind="expect", reversed_by=None, happened_at__gte=timezone.now() - timedelta(days=30)
    )
    for entry in rows.order_by("number"):
        f = entry.facts
        found[date.fromisoformat(f["day"]), f["species"], f["route"]] = float(f["kg"])
    return found


def expected(
    station: Station, now: datetime, days: int
) -> list[tuple[date, str, str, float, float, float, bool]]:
    """Fruit of today and the days to come by species and route: low, middle, high [kg], and whether it was
    typed. What nobody typed is learnt from the season so far, parted as the last three weeks were."""
    zone = station.place.site().zone
    today = now.astimezone(zone).date()
    by_day = fruit_by_day(zone)
    told = _said()
    shares = _shares(station, now)
    learnt: dict[date, tuple[float, float, float]] = {}
    found = seasons(by_day)
    if found and (today - found[-1].last).days <= 10:
        try:
            for one in expected_days(found[-1], today - timedelta(days=1), days):
                learnt[one.on] = (one.low, one.kg, one.high)
        except RangeError:
            learnt = {}
    rows = []
    for n in range(days):
        on = today + timedelta(days=n)
        low, kg, high = learnt.get(on, (0.0, 0.0, 0.0))
        kinds = set(shares) | {(s, r) for d, s, r in told if d == on}
        for species, route in sorted(kinds):
            typed = told.get((on, species, route))
            share = shares.get((species, route), 0.0)
            row = (
                (low * share, kg * share, high * share)
                if typed is None
                else (0.8 * typed, typed, 1.2 * typed)
            )
            if row[1] > 0.0 or typed is not None:
                rows.append((on, species, route, *row, typed is not None))
    return rows


def _shares(station: Station, now: datetime) -> dict[tuple[str, str], float]:
    """How the fruit of the last three weeks was parted by species and route; small parts go with the rest."""
    rows = Delivery.objects.filter(undone=False, happened_at__gte=now - BACK, happened_at__lte=now)
    sums: dict[tuple[str, str], float] = {}
    for species, route, g in rows.values_list("lot__species", "lot__route", "net_g"):
        if species in station.species and route in station.routes:
            sums[species, route] = sums.get((species, route), 0.0) + g
    total = sum(sums.values())
    kept = {k: v for k, v in sums.items() if total and v / total >= LEAST_SHARE}
    whole = sum(kept.values())
    return {k: v / whole for k, v in kept.items()} if whole else {}


def _hour(now: datetime, zone: tzinfo | None) -> float:
    """The usual hour by which a day's fruit is there: three in four deliveries, of the last three weeks."""
    rows = Delivery.objects.filter(undone=False, happened_at__gte=now - BACK).values_list(
        "happened_at", flat=True
    )
    hours = [(t := at.astimezone(zone)).hour + t.minute / 60.0 for at in rows]
    return float(np.quantile(hours, 0.75)) if hours else 16.0


def _coming(station: Station, here: DayNow, days: int) -> list[Coming]:
    """Fruit still to come, as lots of a day; of today what is not here yet."""
    now, zone = here.now, here.now.tzinfo
    hour = _hour(now, zone)
    so_far = fruit_by_day(station.place.site().zone).get(now.date(), 0.0)
    rows = expected(station, now, days)
    today = sum(r[4] for r in rows if r[0] == now.date())
    left = max(today - so_far, 0.0) / today if today else 0.0
    found = []
    for on, species, route, low, kg, high, _typed in rows:
        at = datetime(on.year, on.month, on.day, tzinfo=zone) + timedelta(hours=hour)
        share = left if on == now.date() else 1.0
        if at <= now:
            continue
        if kg * share >= 1.0:
            name = f"{species[0].upper()}{route[0].upper()} {on:%d.%m}"
            found.append(Coming(name, species, (route,), at, kg * share, low * share, high * share))
    return found
