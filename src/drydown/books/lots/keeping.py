"""How dry lots keep, by the records: what they are kept in, their store's air, the coming month."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from django.conf import settings
from django.core.cache import cache
from django.db.models import Avg, Count
from numpy.typing import NDArray

from drydown.air.series import HourlyWeather
from drydown.books.lots.air import air_stamp, station_skies
from drydown.books.models import Happening, Lot, Measure
from drydown.errors import DrydownError
from drydown.figures import Source, Status
from drydown.fingerprint import MODEL, fingerprint
from drydown.outlook.keeping import DAYS, Kept, StoreAir, kept
from drydown.outlook.skies import lot_air
from drydown.station.model import Station
from drydown.steps.keep import bag, bag_names
from drydown.way.keep import TOO_WET
from drydown.way.order import stage
from drydown.words import say

__all__ = ["keeping_of", "kept_in"]

Array = NDArray[np.float64]
LOGGED_DAYS, FEWEST = 14, 48
ANEW = ("bag", "hull", "respread")
"""Steps after which coffee lies in something else than before."""


def kept_in(lots: Sequence[Lot]) -> dict[int, str]:
    """What each lot is kept in, as it was last noted; lots of which nothing was noted are left out."""
    found: dict[int, str] = {}
    rows = Happening.objects.filter(lot__in=[x.pk for x in lots], undone=False, kind__in=(*ANEW, "rebag"))
    for pk, details in rows.order_by("happened_at", "entry_id").values_list("lot_id", "details"):
        found[pk] = str(details.get("kept_in") or "")
    return {pk: name for pk, name in found.items() if name in bag_names()}


def keeping_of(lots: Sequence[Lot], station: Station, now: datetime) -> dict[int, Kept]:
    """The coming month of dry lots that were read and of which it is noted what they are kept in.

    Args: lots; station; now. Returns: by number. Kept for the day, by all that it is made of.
    """
    dry = [x for x in lots if stage(x.stage).dry and x.store and x.known_wb is not None]
    names = kept_in(dry) if dry else {}
    wanted = [x for x in dry if x.pk in names]
    if not wanted:
        return {}
    local = now.astimezone(station.place.site().zone)
    stores = {x.store: _logged(x.store, local) for x in wanted}
    stamp = (fingerprint(*MODEL), local.date(), air_stamp(station).short, station.equipment.stores,
             settings.FUTURES)  # fmt: skip
    keys = {x.pk: _key(x, names[x.pk], stores[x.store], stamp) for x in wanted}
    found: dict[int, Kept] = {}
    told = cache.get_many(list(keys.values()))
    airs: dict[str, tuple[StoreAir, Array]] = {}
    for lot in wanted:
        known = told.get(keys[lot.pk])
        if not isinstance(known, Kept):
            try:
                if lot.store not in airs:
                    airs[lot.store] = _store_air(lot.store, station, local, stores[lot.store])
                known = _made(lot, names[lot.pk], *airs[lot.store])
            except DrydownError:
                continue  # no climate, or drier or wetter than is known of
            cache.set(keys[lot.pk], known, 2 * 86400)
        found[lot.pk] = known
    return found


def _key(lot: Lot, name: str, logged: tuple[float, float] | None, stamp: tuple[object, ...]) -> str:
    told = repr((lot.code, lot.known_wb, lot.known_at, lot.store, name, logged, stamp))
    return "keeping-" + hashlib.sha256(told.encode()).hexdigest()


def _made(lot: Lot, name: str, air: StoreAir, nights: Array) -> Kept:
    return kept(lot.known_wb or 0.0, TOO_WET, bag(name), air, nights, seed=lot.pk)


def _logged(store: str, local: datetime) -> tuple[float, float] | None:
    """Mean temperature and humidity of a store by its logger in the last days; None with few values."""
    found = []
    for quantity in ("air_c", "air_rh"):
        rows = Measure.objects.filter(
            channel__quantity=quantity, channel__place=store, at__gt=local - timedelta(days=LOGGED_DAYS)
        ).aggregate(mean=Avg("value"), n=Count("pk"))
        if rows["n"] < FEWEST:
            return None
        found.append(round(float(rows["mean"]), 2))
    return found[0], found[1] / 100.0


def _store_air(
    store: str, station: Station, local: datetime, logged: tuple[float, float] | None
) -> tuple[StoreAir, Array]:
    """Air of a store from now on, and the coldest hours of the coming nights outside."""
    begin = local.replace(minute=0, second=0, microsecond=0)
    air = lot_air(station_skies(station), begin, DAYS * 24, settings.FUTURES, seed=1001).air
    stated = station.store_c(store)
    made = StoreAir.through_walls(air.temp_c, air.rh, stated[0] if stated else None, seed=1001)
    return (_as_logged(made, *logged) if logged else made), _nights(air)


def _as_logged(air: StoreAir, mean_c: float, rh: float) -> StoreAir:
    """The store's air moved to what its logger measured on the mean."""
    source = Source(say("the store's own logger, mean of {d} days", d=LOGGED_DAYS), Status.STATED)
    held = np.clip(air.rh + (rh - air.rh.mean()), 0.1, 0.97)
    words = say("as its logger read in the last {d} days, varied as the air outside", d=LOGGED_DAYS)
    return replace(air, temp_c=air.temp_c + (mean_c - air.temp_c.mean()), rh=held, words=words, source=source)


def _nights(air: HourlyWeather) -> Array:
    days = air.hours // 24
    return np.asarray(air.temp_c[:, : 24 * days].reshape(air.members, days, 24).min(axis=2))
