"""Hours of outdoor air in the books: taken in from a logger's file or a forecast, read back as pieces."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
from django.conf import settings
from django.db import transaction
from django.db.models import Count, Max
from django.utils import timezone

from drydown.air.csvfile import read_csv
from drydown.air.logger import oddities
from drydown.air.normals import MonthNormals
from drydown.air.series import RANGES, HourlyWeather, Site
from drydown.air.told import read_told
from drydown.books.models import AirHour
from drydown.outlook.skill import Skill, skill_of

__all__ = [
    "ahead_pieces",
    "own_skill",
    "seen_pieces",
    "take_in",
    "take_in_file",
    "take_in_told",
    "told_stamp",
]

BACK, STEP_H = timedelta(days=120), 6
WET_MM = 1.0
_read: dict[tuple[object, ...], tuple[HourlyWeather, ...]] = {}
"""Pieces that this process has read, by all that they were made of."""


def take_in_file(path: Path, site: Site, name: str) -> tuple[int, tuple[str, ...]]:
    """Take in a logger's file; hours that were there are replaced. Returns how many, and what looked odd."""
    air = read_csv(path, site)
    return take_in(air, "seen", name, None), (*air.notes, *oddities(air))


def take_in_told(text: str, site: Site, name: str, names: dict[str, str] | None = None) -> int:
    """Take in a forecast; hours that were forecast before are replaced, except those that are past."""
    told = read_told(text, site, names)
    return take_in(told.air, "ahead", name, told.issued)


def take_in(air: HourlyWeather, kind: str, name: str, issued: datetime | None) -> int:
    """Keep the hours of a series of one member, each once. Returns how many."""
    now = timezone.now()
    rows = [
        AirHour(
            kind=kind, taken_at=now, at=air.start + timedelta(hours=h + 1), issued_at=issued,
            source=name[:120],
            **{key: float(getattr(air, key)[0, h]) for key in RANGES},
        )
        for h in range(air.hours)
    ]  # fmt: skip
    if kind == "ahead":
        rows = [r for r in rows if r.at > now]
    with transaction.atomic():
        AirHour.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["kind", "at"],
            update_fields=[*RANGES, "issued_at", "source", "taken_at"], batch_size=500,
        )  # fmt: skip
    return len(rows)


def seen_pieces(site: Site) -> tuple[HourlyWeather, ...]:
    """Measured hours of the last months as pieces without gaps, up to a whole quarter of a day.

    The quarter keeps an outlook from being made anew each hour.
    """
    now = timezone.now().astimezone(site.zone)
    until = now.replace(hour=now.hour // STEP_H * STEP_H, minute=0, second=0, microsecond=0)
    return _kept_pieces(site, "seen", now.replace(hour=0, minute=0, second=0, microsecond=0) - BACK, until)


def ahead_pieces(site: Site) -> tuple[HourlyWeather, ...]:
    """Forecast hours that are still to come."""
    now = timezone.now().replace(minute=0, second=0, microsecond=0)
    return _kept_pieces(site, "ahead", now, now + timedelta(days=30))


def _kept_pieces(site: Site, kind: str, since: datetime, until: datetime) -> tuple[HourlyWeather, ...]:
    """Pieces as they were read last, while no hour came in since."""
    rows = AirHour.objects.filter(kind=kind, at__gt=since, at__lte=until)
    told = rows.aggregate(n=Count("pk"), last=Max("taken_at"))
    key = (site, kind, since, until, told["n"], told["last"], str(settings.DATABASES["default"]["NAME"]))
    if told["n"] == 0:
        return ()
    if key not in _read:
        if len(_read) > 8:
            _read.clear()
        _read[key] = _pieces(site, rows)
    return _read[key]


def _pieces(site: Site, rows: Iterable[AirHour]) -> tuple[HourlyWeather, ...]:
    found: list[list[AirHour]] = []
    for row in rows:
        if not found or row.at - found[-1][-1].at != timedelta(hours=1):
            found.append([])
        found[-1].append(row)
    return tuple(
        HourlyWeather.of(
            site, (part[0].at - timedelta(hours=1)).astimezone(site.zone),
            {key: np.array([getattr(r, key) for r in part]) for key in RANGES},
        )
        for part in found
    )  # fmt: skip


def told_stamp(pieces: Iterable[HourlyWeather], since: datetime | None) -> tuple[str, ...]:
    """What of pieces matters from a moment on, for keys."""
    return tuple(p.digest() for p in pieces if since is None or p.start + timedelta(hours=p.hours) > since)


def own_skill(site: Site, normals: tuple[MonthNormals, ...] | None) -> Skill:
    """Skill of the forecasts that were kept for days that were measured since."""
    if normals is None:
        return skill_of((), (), ())
    told, was, often = [], [], []
    days: dict[date, dict[str, list[float]]] = {}
    for row in AirHour.objects.filter(at__gt=timezone.now() - BACK, at__lte=timezone.now()):
        day = (row.at - timedelta(minutes=30)).astimezone(site.zone).date()
        days.setdefault(day, {}).setdefault(row.kind, []).append(row.rain_mm)
    for day, kinds in days.items():
        if len(kinds.get("seen", ())) == 24 and len(kinds.get("ahead", ())) == 24:
            told.append(sum(kinds["ahead"]) >= WET_MM)
            was.append(sum(kinds["seen"]) >= WET_MM)
            often.append(min(normals[day.month - 1].rain_days / 30.4, 1.0))
    return skill_of(told, was, often)
