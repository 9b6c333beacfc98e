"""The season by the books: fruit by day, and what is in stock by species, form and store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, tzinfo

from django.db.models import Sum
from django.db.models.functions import TruncDate

from drydown.books.bench.grades import last_grades
from drydown.books.lots.states import states_of
from drydown.books.models import Delivery, Lot
from drydown.way.order import stage, stages

__all__ = ["Stock", "fruit_by_day", "stock"]


@dataclass(frozen=True, slots=True)
class Stock:
    """Dry coffee of one kind: species, route, stage in words, store, grade as last found, lots, mass [kg]."""

    species: str
    route: str
    form: str
    store: str
    grade: str
    lots: tuple[str, ...]
    kg: float


def fruit_by_day(zone: tzinfo, species: str = "") -> Mapping[date, float]:
    """Fruit received by day of the station's own clock [kg]."""
    rows = Delivery.objects.filter(undone=False)
    if species:
        rows = rows.filter(lot__species=species)
    by_day = rows.order_by().annotate(day=TruncDate("happened_at", tzinfo=zone)).values("day")
    return {row["day"]: row["g"] / 1000.0 for row in by_day.annotate(g=Sum("net_g"))}


def stock() -> list[Stock]:
    """What lies dry, by species, route, form, store and grade; the most first."""
    lots = list(
        Lot.objects.filter(stage__in=[s.name for s in stages().values() if s.lies == "store"]).order_by(
            "code"
        )
    )
    states, grades = states_of(lots), last_grades([x.pk for x in lots])
    found: dict[tuple[str, str, str, str, str], list[Lot]] = {}
    for lot in lots:
        key = (lot.species, lot.route, stage(lot.stage).words, lot.store, grades.get(lot.pk, ""))
        found.setdefault(key, []).append(lot)
    rows = [
        Stock(*key, tuple(x.code for x in own), sum(states[x.code].held_kg for x in own))
        for key, own in found.items()
    ]
    return sorted(rows, key=lambda r: -r.kg)
