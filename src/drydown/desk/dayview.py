"""What the day page shows beside its lines: hours with rain, free area, the gate, what was done, what comes
dry."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Sum
from django.utils.translation import gettext as _

from drydown.books.daybook.marks import marked
from drydown.books.models import Delivery, Happening, Reading
from drydown.day.ahead import DayAhead, Room, days_ahead, free_ahead
from drydown.day.line import Line
from drydown.day.now import DayNow
from drydown.day.water import WaterDay, water_days
from drydown.way.order import step

__all__ = ["Done", "Hour", "Side", "side_of", "when_words"]

SHOWN_HOURS = 14
COLUMNS = (0, 1, 2, 4, 7)


@dataclass(frozen=True, slots=True)
class Hour:
    """An hour of the strip: its name, chance of rain in %, and the height of its bar of 40."""

    hour: int
    percent: int

    @property
    def top(self) -> float:
        """Where the bar begins."""
        return 40.0 - self.tall

    @property
    def tall(self) -> float:
        """How tall the bar is."""
        return 0.4 * self.percent


@dataclass(frozen=True, slots=True)
class Done:
    """Something that was done today."""

    at: datetime
    words: str
    lots: tuple[str, ...]
    by: str


@dataclass(frozen=True, slots=True)
class Side:
    """All beside the lines."""

    hours: list[Hour]
    hours_words: str
    rooms: list[tuple[Room, list[int]]]
    room_days: list[datetime]
    ahead: list[tuple[DayAhead, int | None]]
    gate: list[Any]
    gate_g: int
    done: list[Done]
    water: tuple[WaterDay, ...]


def side_of(day: DayNow) -> Side:
    """Everything beside the lines of a day."""
    hours = [
        Hour((day.now + timedelta(hours=i)).hour, round(100 * float(c)))
        for i, c in enumerate(day.rain[:SHOWN_HOURS])
    ]
    rooms = free_ahead(day)
    ahead = days_ahead(day)
    begin = day.now.replace(hour=0, minute=0, second=0, microsecond=0)
    fruit = Delivery.objects.filter(undone=False, happened_at__gte=begin, happened_at__lte=day.now)
    gate = list(
        fruit.values("lot__code", "lot__species", "lot__route").annotate(g=Sum("net_g")).order_by("lot__code")
    )
    return Side(
        hours, ", ".join(f"{h.hour} h {h.percent} %" for h in hours),
        [(r, [round(max(float(r.free[1, d]), 0.0)) for d in COLUMNS]) for r in rooms],
        [day.now + timedelta(days=d) for d in COLUMNS], [(a, None) for a in ahead], gate,
        sum(int(row["g"]) for row in gate), done_today(begin, day.now), _water(day),
    )  # fmt: skip


def _water(day: DayNow) -> tuple[WaterDay, ...]:
    """Water of today and tomorrow, where the station has a wet side."""
    wet = day.station.wet
    stated = (wet.supply_l_day, wet.may_let_out_l_day)
    days = water_days(day)
    return days if any(stated) or any(d.draws.value for d in days) else ()


def done_today(begin: datetime, now: datetime) -> list[Done]:
    """What was done since midnight, the latest first; one thing done to many lots at once is one row."""
    rows: list[tuple[datetime, str, str, str]] = []
    steps = Happening.objects.filter(undone=False, happened_at__gte=begin, happened_at__lte=now)
    for h in steps.select_related("lot", "by"):
        rows.append((h.happened_at, _(step(h.kind).past), h.lot.code, h.by.username if h.by else ""))
    reads = Reading.objects.filter(undone=False, happened_at__gte=begin, happened_at__lte=now)
    for r in reads.select_related("lot", "by"):
        rows.append((r.happened_at, _("moisture read"), r.lot.code, r.by.username if r.by else ""))
    for entry in marked(now, now - begin):
        facts = entry.facts
        words = f"{facts['verb']}: {_(facts['what'])}"
        rows.append((entry.happened_at, words, "", entry.by.username if entry.by else ""))
    return _together(sorted(rows, reverse=True))


def _together(rows: Iterable[tuple[datetime, str, str, str]]) -> list[Done]:
    found: list[Done] = []
    for at, words, code, by in rows:
        last = found[-1] if found else None
        if last and last.words == words and last.by == by and last.at - at < timedelta(minutes=10) and code:
            found[-1] = Done(last.at, words, (*last.lots, code), by)
        else:
            found.append(Done(at, words, (code,) if code else (), by))
    return found


def when_words(line: Line, now: datetime) -> tuple[str, str]:
    """The hours of a line: what stands large, and how far that is."""
    opens, until = line.opens, line.until
    if opens and until and opens > now:
        return f"{_clock(opens, now)} \N{EN DASH} {_clock(until, now)}", _("opens in %s") % _span(opens - now)
    if until and until >= now:
        words = _("now") if until - now < timedelta(minutes=1) else _("before %s") % _clock(until, now)
        return words, "" if until - now < timedelta(minutes=1) else _("in %s") % _span(until - now)
    since = opens or until
    if since and since < now:
        return _("since %s") % _clock(since, now), _span(now - since)
    return _("today"), ""


def _clock(at: datetime, now: datetime) -> str:
    local = at.astimezone(now.tzinfo)
    return (
        f"{local:%H:%M}"
        if local.date() == now.date()
        else f"{local.day} {_(local.strftime('%b'))} {local:%H:%M}"
    )


def _span(length: timedelta) -> str:
    minutes = round(length / timedelta(minutes=1))
    if minutes >= 48 * 60:
        return _("%d days") % round(minutes / 1440)
    return f"{minutes // 60} h {minutes % 60:02d}" if minutes >= 60 else f"{minutes} min"
