"""What was done to a drying lot and read of it, as the outlook asks for it: one case from spreading, and
readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from drydown.outlook.case import DryingCase, Stop
from drydown.outlook.told import Told
from drydown.station.model import Drying, Station
from drydown.steps.dry.data import Place
from drydown.steps.dry.routine import Event
from drydown.way.dry import drying_case, whole_hour
from drydown.way.habits import habits_of, lot_form
from drydown.way.state import LotState

__all__ = ["Done", "DryingHistory", "ReadOff", "drying_history", "kind_of_method"]

BEGINS = ("spread", "respread")
MARKS = ("cover", "uncover")
LONGEST_COVER = timedelta(hours=16)
"""A cover that nobody noted as taken off is taken as off by the habit's hour, or after so long."""


@dataclass(frozen=True, slots=True)
class Done:
    """One thing that was noted of a lot: its kind, when, what was typed."""

    kind: str
    at: datetime
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReadOff:
    """A moisture reading: when, fraction wet basis, by which method; temperature in the layer, C."""

    at: datetime
    moisture_wb: float
    method: str
    bean_c: float | None = None


@dataclass(frozen=True, slots=True)
class DryingHistory:
    """A drying lot from spreading: its case (stays, handling as events) and what was measured of it."""

    case: DryingCase
    told: tuple[Told, ...]
    whole: bool = True
    """Whether it is followed from spreading; else from its last reading, as its history is another lot's."""


def kind_of_method(method: str) -> tuple[str, str]:
    """Kind of a reading by what was typed for its method, and the instrument that its readings share.

    Args: method, such as "meter 2" or "oven 105 C, 24 h". Returns: ("meter" or "oven", instrument).
    """
    name = " ".join(method.lower().split())
    return ("oven", "") if "oven" in name else ("meter", name)


def drying_history(
    state: LotState, done: Sequence[Done], reads: Sequence[ReadOff], station: Station, now: datetime
) -> DryingHistory | None:
    """A drying lot's history as plain values; None where place or drying table are not described.

    Args: state; done, what was noted of the lot, in order; reads, its readings; station; now, until when
    nights are judged by the log. Returns: `DryingHistory`. Where the spreading is not among what was done,
    the lot is followed from its last reading.
    """
    habits = habits_of(state, station)
    begin = next((d for d in reversed(done) if d.kind in BEGINS), None)
    latest = drying_case(state, station)
    if habits is None or latest is None:
        return None
    if begin is None or begin.at != state.spread_at:
        return DryingHistory(latest, (), whole=False)
    stays = _stays(begin, done, station)
    if stays is None:
        return DryingHistory(latest, (), whole=False)
    start = whole_hour(begin.at, station)
    before = [r for r in reads if r.at <= begin.at]
    stops, (spot, load) = _stops(stays, start), (stays[-1][1], stays[-1][2])
    routine = replace(habits.routine(), events=_events(done, habits, start, now))
    case = DryingCase(
        state.species, lot_form(state), spot.name, load, habits.target_wb, start, routine,
        before[-1].moisture_wb if before and begin.kind == "respread" else None, stops, spot,
    )  # fmt: skip
    return DryingHistory(case, _told(done, [r for r in reads if r.at > begin.at], start))


def _stays(begin: Done, done: Sequence[Done], station: Station) -> list[tuple[datetime, Place, float]] | None:
    """Since when, where and at which load; None where a place is no longer described."""
    found = []
    for one in done:
        if one is begin or (one.kind == "move" and one.at >= begin.at):
            place = station.drying_places().get(str(one.details.get("bed", "")))
            if place is None:
                return None
            found.append((one.at, place[0], float(one.details["load_kg_m2"])))
    return found


def _stops(stays: list[tuple[datetime, Place, float]], start: datetime) -> tuple[Stop, ...]:
    """Stays before the last one, in whole hours; one of less than an hour is left out."""
    found, since = [], start
    for (_at, spot, load), (until, _spot, _load) in pairwise(stays):
        hours = round((until - since) / timedelta(hours=1))
        if hours >= 1:
            found.append(Stop(spot, load, hours))
            since += timedelta(hours=hours)
    return tuple(found)


def _told(done: Sequence[Done], reads: Sequence[ReadOff], start: datetime) -> tuple[Told, ...]:
    found = []
    for r in reads:
        kind, by = kind_of_method(r.method)
        hour = max(_hours(start, r.at), 0.0)
        found.append(Told(hour, kind, r.moisture_wb, by))
        if r.bean_c is not None:
            found.append(Told(hour, "bed_c", r.bean_c))
    beans = [d for d in done if d.kind == "bean" and d.at >= start]
    found += [Told(_hours(start, d.at), "bed_c", float(d.details["bean_c"])) for d in beans]
    trays = [d for d in done if d.kind == "tray" and d.at >= start]
    for d in trays[1:]:
        share = float(d.details["tray_g"]) / float(trays[0].details["tray_g"])
        found.append(Told(_hours(start, d.at), "tray", share, "", _hours(start, trays[0].at)))
    return tuple(sorted(found, key=lambda t: t.hour))


def _hours(start: datetime, at: datetime) -> float:
    return (at - start) / timedelta(hours=1)


def _events(done: Sequence[Done], habits: Drying, start: datetime, now: datetime) -> tuple[Event, ...]:
    """The log in place of the habit: nights and rakes as they were noted, where any were.

    A lot of which no cover was ever noted is taken to be handled by the habit; so is a day without a rake.
    """
    zone = start.tzinfo
    marks = [
        (d.at.astimezone(zone), d.kind)
        for d in done
        if d.kind in MARKS and d.at >= start - timedelta(hours=1)
    ]
    rakes = [d.at.astimezone(zone) for d in done if d.kind == "rake" and d.at >= start]
    return (*_bare_nights(marks, habits, start, now), *_covered(marks, habits, start), *_raked(rakes, start))


def _covered(marks: list[tuple[datetime, str]], habits: Drying, start: datetime) -> list[Event]:
    found = []
    for number, (at, kind) in enumerate(marks):
        if kind != "cover":
            continue
        off = next((t for t, k in marks[number + 1 :] if k == "uncover"), None)
        by_habit = at.replace(hour=int(habits.cover_until_h), minute=0, second=0, microsecond=0)
        by_habit += timedelta(days=1 if by_habit <= at else 0)
        last = min(by_habit, at + LONGEST_COVER)
        found.append(_event("cover", start, at, min(off, at + LONGEST_COVER) if off else last))
    return [e for e in found if e is not None]


def _bare_nights(
    marks: list[tuple[datetime, str]], habits: Drying, start: datetime, now: datetime
) -> list[Event]:
    """Nights that are over and of which no cover was noted, where covers are noted at all."""
    if habits.cover_from_h is None or not any(kind == "cover" for _at, kind in marks):
        return []
    first = next(at for at, kind in marks if kind == "cover")
    evening = first.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(hours=habits.cover_from_h)
    found = []
    while evening < now:
        morning = evening.replace(hour=0, minute=0) + timedelta(days=1, hours=habits.cover_until_h)
        noted = any(k == "cover" and evening - timedelta(hours=6) <= at < morning for at, k in marks)
        if not noted and morning <= now:
            found.append(_event("uncover", start, evening, morning))
        evening += timedelta(days=1)
    return [e for e in found if e is not None]


def _raked(rakes: list[datetime], start: datetime) -> list[Event]:
    found = []
    for day in sorted({at.date() for at in rakes}):
        first = datetime(day.year, day.month, day.day, tzinfo=start.tzinfo)
        found.append(_event("still", start, first, first + timedelta(days=1)))
    found += [_event("rake", start, at, at + timedelta(hours=1)) for at in rakes]
    return [e for e in found if e is not None]


def _event(what: str, start: datetime, since: datetime, until: datetime) -> Event | None:
    """An event in whole hours from the start; None where nothing of it is left."""
    first, last = max(round(_hours(start, since)), 0), round(_hours(start, until))
    return Event(what, first, last) if last > first else None
