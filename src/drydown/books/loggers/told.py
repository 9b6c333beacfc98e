"""What loggers tell the outlook and the day: outdoor air by the hour, tanks, trays, and what is wrong with
them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from django.db.models import Max, Sum
from django.db.models.functions import Coalesce

from drydown.books.models import Channel, Gap, Measure
from drydown.outlook.skies import Felt
from drydown.words import say

__all__ = ["by_lots", "felt_air", "felt_stamp", "tank_c", "troubles"]

BACK = timedelta(days=60)
SILENT, STUCK = timedelta(hours=3), timedelta(hours=12)
LOTS = ("tray_g", "bean_c")
PAIRS = {"air_c": "temp_c", "air_rh": "rh"}


def felt_air(now: datetime) -> tuple[Felt, ...]:
    """Outdoor air by the hour from loggers, as pieces of one quantity without gaps, up to a quarter of a day.

    An hour is the mean of all values in it, of all devices that are at no other place.
    """
    until = now.replace(hour=now.hour // 6 * 6, minute=0, second=0, microsecond=0)
    found: list[Felt] = []
    for quantity, key in PAIRS.items():
        hours: dict[datetime, list[float]] = {}
        rows = Measure.objects.filter(
            channel__quantity=quantity, channel__place="", at__gt=until - BACK, at__lte=until
        ).values_list("at", "value")
        for at, value in rows:
            end = (at - timedelta(microseconds=1)).replace(minute=0, second=0, microsecond=0) + timedelta(
                hours=1
            )
            hours.setdefault(end, []).append(
                value if quantity == "air_c" else min(max(value / 100.0, 0.02), 1.0)
            )
        found += _pieces(key, {end: float(np.mean(v)) for end, v in hours.items()})
    return tuple(found)


def _pieces(key: str, hours: dict[datetime, float]) -> list[Felt]:
    runs: list[list[datetime]] = []
    for end in sorted(hours):
        if not runs or end - runs[-1][-1] != timedelta(hours=1):
            runs.append([])
        runs[-1].append(end)
    return [Felt(key, run[0] - timedelta(hours=1), tuple(hours[end] for end in run)) for run in runs]


def felt_stamp(now: datetime) -> tuple[object, ...]:
    """What decides `felt_air`, cheaply: values until the quarter of a day that is over."""
    until = now.replace(hour=now.hour // 6 * 6, minute=0, second=0, microsecond=0)
    rows = Measure.objects.filter(channel__quantity__in=PAIRS, at__lte=until)
    told = rows.aggregate(last=Max("pk"), s=Coalesce(Sum("value"), 0.0))
    if told["last"] is None:
        return ()
    places = tuple(Channel.objects.filter(quantity__in=PAIRS).values_list("pk", "place"))
    return (told["last"], round(told["s"], 3), places)


def tank_c(tank: str, since: datetime, until: datetime) -> float | None:
    """Mean temperature of a tank by its logger; None where none stands in it."""
    rows = Measure.objects.filter(
        channel__quantity="tank_c", channel__place=tank, at__gte=since, at__lte=until
    ).values_list("value", flat=True)
    values = list(rows)
    return float(np.mean(values)) if values else None


def by_lots(codes: Sequence[str]) -> dict[str, list[tuple[str, datetime, float]]]:
    """What loggers at lots told, six hours apart and more: quantity ("tray_g" [g], "bean_c" [C]), when,
    value; by code."""
    rows = Measure.objects.filter(channel__quantity__in=LOTS, channel__place__in=codes).order_by("at")
    found: dict[str, list[tuple[str, datetime, float]]] = {}
    last: dict[tuple[str, str], datetime] = {}
    for code, quantity, at, value in rows.values_list("channel__place", "channel__quantity", "at", "value"):
        if (before := last.get((code, quantity))) is None or at - before >= timedelta(hours=6):
            found.setdefault(code, []).append((quantity, at, value))
            last[code, quantity] = at
    return found


def troubles(now: datetime) -> list[tuple[str, str]]:
    """Channels that are silent, stand still, or have lost numbers, as a key and a sentence each."""
    found: list[tuple[str, str]] = []
    for channel in Channel.objects.all():
        name = f"{channel.device}, {channel.quantity}"
        if channel.last_at is not None and now - channel.last_at > SILENT:
            words = say(
                "{name}: silent since {t:%d.%m. %H:%M}", name=name, t=channel.last_at.astimezone(now.tzinfo)
            )
            found.append((f"silent:{channel.pk}", words))
        lately = list(
            Measure.objects.filter(channel=channel, at__gt=now - STUCK)
            .order_by("at")
            .values_list("value", flat=True)
        )
        if len(lately) >= 12 and len(set(lately)) == 1 and channel.quantity != "tray_g":
            found.append(
                (
                    f"stuck:{channel.pk}",
                    say("{name}: stands still at {v:g} for 12 hours", name=name, v=lately[0]),
                )
            )
        lost = Gap.objects.filter(channel=channel, seen_at__gt=now - timedelta(days=1))
        count = sum(g.last - g.first + 1 for g in lost)
        if count:
            found.append((f"gap:{channel.pk}", say("{name}: {n} numbers never came", name=name, n=count)))
    return found
