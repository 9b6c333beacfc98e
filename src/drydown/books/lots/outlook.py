"""A drying lot's outlook from its records: history, air, what other lots taught, kept by what it was made
of."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.core.cache import cache
from django.db.models import Count, Q
from django.utils import timezone

from drydown.books.loggers.told import by_lots
from drydown.books.lots.air import AirStamp, air_stamp, station_skies
from drydown.books.lots.states import shape_of
from drydown.books.lots.window import Clock, clock_of, stored_clock, wet_hours_so_far
from drydown.books.models import Descent, Happening, Lot, Reading
from drydown.errors import DrydownError
from drydown.fingerprint import MODEL, fingerprint
from drydown.outlook.corrected import Corrected, corrected
from drydown.outlook.learnt import Lesson, StationPrior, station_prior
from drydown.outlook.skies import Skies
from drydown.station.model import Station
from drydown.way.history import Done, DryingHistory, ReadOff, drying_history
from drydown.way.order import stage, stages
from drydown.way.state import Stage

__all__ = [
    "Asked", "Past", "asked_of", "clock_known", "earlier_outlooks", "kept_outlook", "learnt_prior",
    "lot_history", "lot_outlook",
    "outlook_key", "past_of_drying", "pasts_of", "reckoned", "reckoner",
    "waiting_lessons",
]  # fmt: skip

MOST_LESSONS = 40
NEAR = 240
_near: dict[str, Corrected] = {}
"""Outlooks that this process has read or made, by their key."""
_pasts: dict[str, Past] = {}
"""The same of lots that were dried; a few hundred bytes each."""
KINDS = ("spread", "respread", "move", "cover", "uncover", "rake", "tray")


def lot_history(
    lot: Lot, station: Station, now: datetime, reads: Sequence[Reading] | None = None
) -> DryingHistory | None:
    """History of a drying lot from the records; a lot that was split off has its parent's until then.

    Args: lot; station; now; reads, the readings to take in instead of all of its own.
    """
    done, own = gathered([lot])[lot.pk]
    return _history(lot, station, now, done, own if reads is None else list(reads))


def _history(
    lot: Lot, station: Station, now: datetime, done: list[Done], reads: Sequence[Reading]
) -> DryingHistory | None:
    told = [ReadOff(r.happened_at, r.moisture_wb, r.method, r.bean_temp_c) for r in reads]
    return drying_history(shape_of(lot), done, told, station, now)


def gathered(lots: Sequence[Lot]) -> dict[int, tuple[list[Done], list[Reading]]]:
    """What was noted and read of lots, by their number; where one was split off, of its parent until then
    too."""
    ids = [lot.pk for lot in lots]
    done: dict[int, list[Done]] = {pk: [] for pk in ids}
    read: dict[int, list[Reading]] = {pk: [] for pk in ids}
    rows = Happening.objects.filter(lot__in=ids, undone=False, kind__in=KINDS)
    for h in rows.order_by("happened_at", "entry_id"):
        done[h.lot_id].append(Done(h.kind, h.happened_at, h.details))
    for r in Reading.objects.filter(lot__in=ids, undone=False).order_by("happened_at", "entry_id"):
        read[r.lot_id].append(r)
    sent = by_lots([lot.code for lot in lots])
    for lot in lots:
        done[lot.pk] += [
            Done("tray" if what == "tray_g" else "bean", at, {what: v})
            for what, at, v in sent.get(lot.code, ())
        ]
    born: dict[int, list[Descent]] = {}
    for edge in Descent.objects.filter(child__in=ids, undone=False).select_related("parent", "entry"):
        born.setdefault(edge.child_id, []).append(edge)
    for pk, edges in born.items():
        if len(edges) == 1 and edges[0].kind == "split":
            parent, at = edges[0].parent, edges[0].entry.happened_at
            before, earlier = gathered([parent])[parent.pk]
            done[pk] = [*(d for d in before if d.at <= at), *done[pk]]
            read[pk] = [*(r for r in earlier if r.happened_at <= at), *read[pk]]
    return {pk: (done[pk], read[pk]) for pk in ids}


def outlook_key(history: DryingHistory, stamp: AirStamp, prior: StationPrior | None) -> str:
    """Hash of everything an outlook depends on: code, case, readings, air, what was learnt."""
    learnt = "" if prior is None else (prior.names, prior.mean.tobytes(), prior.cov.tobytes())
    parts = (
        fingerprint(*MODEL, "way/history.py"),
        settings.FUTURES,
        history,
        stamp.since(history.case.start),
        learnt,
    )
    return "outlook-" + hashlib.sha256("|".join(map(repr, parts)).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Asked:
    """A drying lot's history and the name its outlook is kept under; found, where it is kept."""

    lot: Lot
    history: DryingHistory
    key: str
    found: Corrected | None


def asked_of(lots: Sequence[Lot], station: Station, now: datetime) -> dict[int, Asked]:
    """Histories and kept outlooks of drying lots, by number; those without a place or table are left out."""
    told, stamp, out = gathered(lots), air_stamp(station), dict[int, Asked]()
    prior = learnt_prior(station, stamp)
    for lot in lots:
        done, reads = told[lot.pk]
        history = _history(lot, station, now, done, reads)
        if history is not None:
            key = outlook_key(history, stamp, prior)
            out[lot.pk] = Asked(lot, history, key, _kept(key))
    return out


def reckoned(asked: Asked, station: Station) -> Corrected:
    """The outlook that was asked for: as kept, else made and kept."""
    return asked.found or _made(asked.history, station, learnt_prior(station), asked.lot.pk)


def reckoner(station: Station) -> Callable[[Asked], Corrected]:
    """A function that makes an outlook and keeps it, and asks the books nothing: for several lots at a
    time."""
    skies, prior = station_skies(station), learnt_prior(station)

    def reckon(asked: Asked) -> Corrected:
        return _keep(asked.key, asked.history, skies, prior, asked.lot.pk, threads=1)

    return reckon


def kept_outlook(lot: Lot, station: Station, now: datetime | None = None) -> tuple[Corrected | None, str]:
    """The outlook of a lot where it is kept already, and its key; nothing is reckoned. No key: not drying."""
    one = asked_of([lot], station, now or timezone.now()).get(lot.pk)
    return (one.found, one.key) if one else (None, "")


def lot_outlook(lot: Lot, station: Station, now: datetime | None = None) -> Corrected | None:
    """The outlook of a drying lot, kept by what it was made of; None where no place or table is described."""
    one = asked_of([lot], station, now or timezone.now()).get(lot.pk)
    return reckoned(one, station) if one else None


def _kept(key: str) -> Corrected | None:
    """What is kept under a key, in this process first: a key is a hash of all that the answer is made of."""
    found = _near.get(key) or cache.get(key)
    if not isinstance(found, Corrected):
        return None
    _remember(key, found)
    return found


def _remember(key: str, made: Corrected) -> None:
    if len(_near) >= NEAR:
        for old in list(_near)[: NEAR // 4]:
            _near.pop(old, None)
    _near[key] = made


def _made(history: DryingHistory, station: Station, prior: StationPrior | None, seed: int) -> Corrected:
    key = outlook_key(history, air_stamp(station), prior)
    found = _kept(key)
    if found is not None:
        return found
    return _keep(key, history, station_skies(station), prior, seed)


def _keep(
    key: str, history: DryingHistory, skies: Skies, prior: StationPrior | None, seed: int,
    threads: int | None = None,
) -> Corrected:  # fmt: skip
    """Make an outlook and keep it, on disk and near."""
    made = corrected(
        history.case, history.told, skies, settings.FUTURES, seed=seed, prior=prior, threads=threads
    )
    cache.set(key, made, None)
    _remember(key, made)
    return made


def clock_known(lot: Lot, station: Station, now: datetime, reckon: bool = False) -> Clock | None:
    """Hours of a lot in the mould window; None for one that neither dries nor is dry.

    Args: lot; station; now; reckon, whether runs that are not kept may be made: without, what is not kept
    is counted by the readings alone.
    """
    if lot.stage == Stage.DRYING:
        found = lot_outlook(lot, station, now) if reckon else kept_outlook(lot, station, now)[0]
        return clock_of(lot, now, found)
    if not stage(lot.stage).dry:
        return None
    past = past_of_drying(lot, station, reckon)
    return stored_clock(lot, past.window_h if past else None)


def earlier_outlooks(
    lot: Lot, station: Station, now: datetime, most: int = 4, seconds: float = 1.5
) -> list[Corrected]:
    """What was said from spreading, and from each reading before the last one, the oldest first.

    Args: lot; station; now; most, how many at most, the first and the latest of them; seconds, after which
    none that is not kept is made. Made of what was noted and measured until now, with the readings of then.
    """
    _done, reads = gathered([lot])[lot.pk]
    reads = [r for r in reads if lot.spread_at and r.happened_at > lot.spread_at]
    counts = list(range(len(reads)))
    counts = counts if len(counts) <= most else [0, *counts[-(most - 1) :]]
    prior, stamp = learnt_prior(station), air_stamp(station)
    until, found = time.monotonic() + seconds, list[Corrected]()
    for count in counts:
        history = lot_history(lot, station, now, reads[:count])
        if history is None or not history.whole:
            continue
        kept = _kept(outlook_key(history, stamp, prior))
        if kept is None and time.monotonic() < until:
            kept = _made(history, station, prior, lot.pk)
        if kept is not None:
            found.append(kept)
    return found


def _finished() -> list[Lot]:
    """Lots that were dried and read, the latest first."""
    names = [s.name for s in stages().values() if s.dry or s.name == Stage.GONE]
    rows = Lot.objects.filter(stage__in=names, spread_at__isnull=False).annotate(
        read=Count("readings", filter=Q(readings__undone=False))
    )
    return list(rows.filter(read__gte=2).order_by("-opened_on", "-pk")[:MOST_LESSONS])


@dataclass(frozen=True, slots=True)
class Past:
    """A lot that was dried: what it teaches, and its hours in the mould window while it dried [h]."""

    lesson: Lesson | None
    window_h: float | None


def past_of_drying(lot: Lot, station: Station, reckon: bool) -> Past | None:
    """What is to be kept of a lot's drying; None where it is not reckoned yet and shall not be."""
    found = pasts_of([lot], station).get(lot.pk)
    if found is not None or not reckon:
        return found
    return _reckon_past(lot, station, _past_names([lot], station)[lot.pk])


def pasts_of(lots: Sequence[Lot], station: Station) -> dict[int, Past]:
    """What is kept of the drying of lots, by their number; nothing is reckoned."""
    names = _past_names(lots, station)
    found = {pk: _pasts.get(name) for pk, name in names.items()}
    missing = [names[pk] for pk, past in found.items() if past is None]
    if missing:
        told = cache.get_many(missing)
        for pk, name in names.items():
            if isinstance(told.get(name), Past):
                found[pk] = _pasts[name] = told[name]
    return {pk: past for pk, past in found.items() if past is not None}


def _past_names(lots: Sequence[Lot], station: Station) -> dict[int, str]:
    """Names under which the drying of lots is kept: by what was read and done, and the air."""
    ids, model = [lot.pk for lot in lots], f"{fingerprint(*MODEL)}-{air_stamp(station).short}"
    read, done = (
        dict(table.objects.filter(lot__in=ids, undone=False).values_list("lot").annotate(n=Count("pk")))
        for table in (Reading, Happening)
    )
    return {pk: f"dried-{pk}-{read.get(pk, 0)}-{done.get(pk, 0)}-{model}" for pk in ids}


def _reckon_past(lot: Lot, station: Station, name: str) -> Past:
    """What a lot's drying teaches and how long it was in the window; kept."""
    made = Past(None, None)
    try:
        history = lot_history(lot, station, timezone.now())
        if history is not None and history.whole and history.told:
            out = corrected(history.case, history.told, station_skies(station), settings.FUTURES, seed=lot.pk)
            middle, high = out.window_until(lot.known_at or timezone.now())
            until = max(middle, min(high, wet_hours_so_far(lot, timezone.now())))
            made = Past(out.lesson, until if out.follows else None)
    except DrydownError:
        made = Past(None, None)  # a lot that cannot be followed teaches nothing
    cache.set(name, made, None)
    _pasts[name] = made
    return made


def waiting_lessons(station: Station, until: float) -> int:
    """Reckon what finished lots teach while there is time; returns how many are still to be reckoned.

    Args: station; until, `time.monotonic()` after which no other is begun.
    """
    left, lessons, lots = 0, list[Lesson](), _finished()
    kept, names = pasts_of(lots, station), _past_names(lots, station)
    for lot in lots:
        found = kept.get(lot.pk)
        if found is None and time.monotonic() < until:
            found = _reckon_past(lot, station, names[lot.pk])
        left += found is None
        if found is not None and found.lesson is not None:
            lessons.append(found.lesson)
    if not left:
        cache.add(_prior_name(station), station_prior(lessons), 3 * 86400)
    return left


def _prior_name(station: Station, stamp: AirStamp | None = None) -> str:
    day = timezone.now().astimezone(station.place.site().zone).date()
    return f"prior-{day}-{fingerprint(*MODEL)}-{(stamp or air_stamp(station)).short}"


def learnt_prior(station: Station, stamp: AirStamp | None = None) -> StationPrior | None:
    """What the station's finished lots taught by this morning; None until that is reckoned.

    It stays for the day, so that one reading does not move every lot.
    """
    found = cache.get(_prior_name(station, stamp))
    return found if isinstance(found, StationPrior) else None
