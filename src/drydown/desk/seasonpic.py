"""The season at a glance: fruit a day as bars, by route and class, and what is held at each stage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Sum
from django.db.models.functions import TruncDate
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from drydown.books.models import Delivery, Holding, Lot
from drydown.numerals import number
from drydown.way.names import DRY, WATER
from drydown.way.order import stages
from drydown.way.state import Stage

__all__ = ["Bars", "season_context"]

LONGEST = 140
"""Days that are drawn at most; a season has 70 to 112."""
LEFT, TOP = 46.0, 16.0


@dataclass(frozen=True, slots=True)
class Bars:
    """A drawing of fruit by day, for one width."""

    name: str
    width: int
    height: int
    path: str
    grid: tuple[tuple[float, str], ...]
    months: tuple[tuple[float, str], ...]
    bottom: float


def season_context(currency: str) -> dict[str, Any]:
    """Bars, sums by route and class, stock by stage."""
    days = _by_day()
    routes = (
        Delivery.objects.filter(undone=False, currency=currency)
        .values("lot__species", "lot__route", "fruit_class")
        .annotate(net=Sum("net_g"), pays=Sum("pays"), n=Count("pk"))
        .order_by("lot__species", "lot__route", "fruit_class")
    )
    return {
        "bars": [_bars("narrow", 358, 190, days), _bars("broad", 596, 226, days)] if days else [],
        "season_kg": sum(kg for _day, kg in days), "season_days": len([1 for _day, kg in days if kg]),
        "by_route": [
            (r["lot__species"], str(r["lot__route"]).replace("_", " "), r["fruit_class"], r["net"], r["pays"])
            for r in routes
        ],
        "stock": _stock(),
    }  # fmt: skip


def _by_day() -> list[tuple[date, float]]:
    """Kilograms of fruit by day, from the first weighing of the season to today."""
    today = timezone.localdate()
    rows = (
        Delivery.objects.filter(undone=False, happened_at__date__gte=today - timedelta(days=LONGEST))
        .annotate(day=TruncDate("happened_at")).values("day").annotate(net=Sum("net_g"))
    )  # fmt: skip
    known = {row["day"]: row["net"] / 1000.0 for row in rows}
    if not known:
        return []
    first, last = min(known), max(today, *known)
    return [
        (d, known.get(d, 0.0)) for d in (first + timedelta(days=i) for i in range((last - first).days + 1))
    ]


def _step(top: float) -> float:
    """A round distance between grid lines, three or four of them."""
    rough = top / 3.5
    size = 10.0 ** math.floor(math.log10(rough))
    return next(size * m for m in (1, 2, 5, 10) if size * m >= rough)


def _bars(name: str, width: int, height: int, days: Sequence[tuple[date, float]]) -> Bars:
    bottom, top = height - 34.0, max(1.0, *(kg for _day, kg in days))
    each, step = (width - LEFT) / max(len(days), 14), _step(top)
    top = max(top, step)

    def y(kg: float) -> float:
        return round(bottom - (bottom - TOP - 6) * kg / top, 1)

    path = "".join(
        f"M{LEFT + i * each:.1f} {bottom}V{y(kg)}h{max(each * 0.8, 1):.1f}V{bottom}Z"
        for i, (_day, kg) in enumerate(days) if kg
    )  # fmt: skip
    lines = [step * i for i in range(1, int(top / step) + 1)]
    months = [
        (round(LEFT + i * each, 1), date_format(day, "M"))
        for i, (day, _kg) in enumerate(days) if i == 0 or day.day == 1
    ]  # fmt: skip
    kept = [m for i, m in enumerate(months) if i + 1 == len(months) or months[i + 1][0] - m[0] > 28]
    return Bars(name, width, height, path, tuple((y(v), number(v)) for v in lines),
                tuple(kept), bottom)  # fmt: skip


def _stock() -> list[tuple[str, int, float]]:
    """Lots and kilograms held at each stage, in the order of the way."""
    held = dict(
        Holding.objects.filter(account__name__startswith="lot/", commodity__in=(DRY, WATER))
        .values("account__name").annotate(g=Sum("amount")).values_list("account__name", "g")
    )  # fmt: skip
    found: dict[str, list[float]] = {}
    for lot in Lot.objects.exclude(stage=Stage.GONE):
        kg = held.get(lot.account, 0) / 1000.0
        if kg > 0.0005:
            row = found.setdefault(lot.stage, [0, 0.0])
            row[0] += 1
            row[1] += kg
    return [
        (_(s.words), int(found[s.name][0]), found[s.name][1]) for s in stages().values() if s.name in found
    ]
