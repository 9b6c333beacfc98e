"""What to build, worked out beside the pages: one search at a time for a station as it stands, kept when
done.

What each design came to is kept unit by unit, so that a search that was stopped (a restart, a power cut)
goes on
where it was. The lease is let go when no design came in for ten minutes.
"""

from __future__ import annotations

import hashlib
import sys
import threading
import time
from collections.abc import Iterator, MutableMapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.utils import timezone

from drydown.books.daybook.season import fruit_by_day
from drydown.errors import DrydownError
from drydown.season.harvest import Harvest, learn_harvest
from drydown.season.report import proposal, report
from drydown.season.search import Judged, stamp_of
from drydown.season.simulate import Weather
from drydown.season.study import harvest_of
from drydown.station.harvest import seasons
from drydown.station.model import Station

__all__ = ["Work", "begin", "harvest_here", "key_of", "look"]

SEED = 1
LEASE_S = 600.0
DAYS = 30 * 86400
OVER_DAYS = 45
"""A season is over when so many days brought no fruit (own choice)."""


@dataclass(frozen=True, slots=True)
class Work:
    """How far a search is: done of so many designs; shown, its answer once there is one; trouble, what
    stopped
    it."""

    key: str
    running: bool
    done: int
    designs: int
    shown: dict[str, Any] | None
    trouble: str
    harvest: Harvest | None
    """What it is searched for; None where neither file nor books tell one."""


class Kept(MutableMapping[str, Judged]):
    """What designs came to, in the cache."""

    def __getitem__(self, key: str) -> Judged:
        found = cache.get(key)
        if not isinstance(found, tuple):
            raise KeyError(key)
        return found

    def __setitem__(self, key: str, value: Judged) -> None:
        cache.set(key, value, DAYS)

    def __delitem__(self, key: str) -> None:
        cache.delete(key)

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


def key_of(station: Station, weather: Weather, harvest: Harvest | None = None) -> str:
    """What an answer is kept by: the station, its weather and harvest, the code and how much is tried."""
    made_of = (stamp_of(station, weather, harvest), settings.DESIGNS, settings.HARVESTS)
    return "build-" + hashlib.sha256(repr(made_of).encode()).hexdigest()[:32]


def harvest_here(station: Station) -> Harvest:
    """The harvest as the station file states it; without a crop there, as seasons that are over were weighed.

    Raises `InputError` where neither is there."""
    if station.crop is not None or station.season is None:
        return harvest_of(station)
    zone = station.place.site().zone
    today = timezone.now().astimezone(zone).date()
    past = [s for s in seasons(fruit_by_day(zone)) if (today - s.last).days > OVER_DAYS]
    species = tuple((s, p / 100.0) for s, p in station.season.species_percent.items() if p > 0.0)
    begins = past[-1].first if past else today
    while begins < today:
        begins += timedelta(days=365)
    return learn_harvest(past, species, begins)


def look(station: Station, weather: Weather) -> Work:
    """How far the search of the station as it stands is."""
    try:
        harvest = harvest_here(station)
    except DrydownError:
        harvest = None
    key = key_of(station, weather, harvest)
    done, at = cache.get(f"{key}-at") or (0, 0.0)
    shown = cache.get(key)
    running = time.time() - at < LEASE_S and shown is None
    trouble = cache.get(f"{key}-trouble") or ""
    return Work(key, running, done, settings.DESIGNS, shown, trouble, harvest)


def begin(station: Station, weather: Weather) -> None:
    """Begin the search, unless it is done or under way."""
    work = look(station, weather)
    if work.running or work.shown is not None:
        return
    harvest = work.harvest or harvest_here(station)
    cache.delete(f"{work.key}-trouble")
    cache.set(f"{work.key}-at", (0, time.time()), DAYS)
    threading.Thread(
        target=_run, args=(work.key, station, weather, harvest), name="build", daemon=True
    ).start()


def _run(key: str, station: Station, weather: Weather, harvest: Harvest) -> None:
    def tell(done: int, _last: object) -> None:
        cache.set(f"{key}-at", (done, time.time()), DAYS)

    try:
        made = proposal(
            station,
            weather,
            harvest,
            settings.DESIGNS,
            settings.HARVESTS,
            SEED,
            settings.HARVESTS,
            tell,
            2,
            Kept(),
        )
        cache.set(key, report(made), DAYS)
    except DrydownError as error:
        cache.set(f"{key}-trouble", str(error), DAYS)
        cache.delete(f"{key}-at")
    except Exception as error:
        if not threading.main_thread().is_alive() or "interpreter shutdown" in str(error):
            return  # the desk is closing; what was judged is kept
        sys.stderr.write(f"build: {type(error).__name__}: {error}\n")
        cache.set(f"{key}-trouble", f"{type(error).__name__}", DAYS)
        cache.delete(f"{key}-at")
