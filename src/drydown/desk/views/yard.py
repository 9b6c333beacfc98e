"""The yard: which lot is where, and when it will be dry."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from drydown.books.flow import Step, next_steps
from drydown.books.lotview import lot_case, lot_forecast, spread_kg
from drydown.books.models import Lot
from drydown.desk.context import need_station
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.outlook.forecast import DryingForecast
from drydown.station.model import Station
from drydown.steps.dry.data import place

__all__ = ["home", "yard"]


FAR = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Row:
    """One lot in the yard."""

    lot: Lot
    net_g: int
    steps: list[Step]
    dry_on: tuple[Any, Any, Any] | None
    last_wb: float | None
    last_percent: float
    trouble: str


@require_safe
@answered
def home(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The yard, or set-up while there is no station."""
    return redirect("yard")


@require_safe
@answered
def yard(request: HttpRequest) -> HttpResponse:
    """Lots by where they stand; those that are stored on their own list."""
    station = need_station()
    stored = request.GET.get("show") == "stored"
    lots = Lot.objects.annotate(net=Sum("deliveries__net_g")).prefetch_related("readings")
    chosen = lots.filter(stage=Lot.Stage.STORED) if stored else lots.exclude(stage=Lot.Stage.STORED)
    rows = [_row(lot, station) for lot in chosen[:120]]
    rows.sort(key=lambda r: (r.dry_on is None, r.dry_on[1] or FAR if r.dry_on else FAR))
    groups = [(label, [r for r in rows if r.lot.stage == stage]) for stage, label in Lot.Stage.choices]
    context = {
        "groups": [g for g in groups if g[1]],
        "stored": stored,
        "beds": _beds(rows, station),
        "now": timezone.now(),
    }
    return render(request, "desk/yard.html", context)


def _row(lot: Any, station: Station) -> Row:
    found: DryingForecast | None = None
    trouble = ""
    if lot.stage == Lot.Stage.DRYING:
        try:
            case = lot_case(lot, station)
            found = lot_forecast(case, station) if case else None
            trouble = (
                "" if case else _("no forecast: its place or its drying table is not in the station file")
            )
        except InputError as error:
            trouble = str(error)
    readings = list(lot.readings.all())
    last = readings[-1].moisture_wb if readings else None
    return Row(
        lot,
        lot.net or 0,
        next_steps(lot),
        found.dry_on() if found else None,
        last,
        100.0 * (last or 0.0),
        trouble,
    )


def _beds(rows: list[Row], station: Station) -> list[dict[str, Any]]:
    """How full each drying place is, from the fruit of the lots on it."""
    used: dict[str, float] = {}
    for row in rows:
        if row.lot.stage == Lot.Stage.DRYING and row.lot.load_kg_m2 and row.net_g:
            area = spread_kg(row.lot, station, row.net_g / 1000.0) / row.lot.load_kg_m2
            used[row.lot.bed] = used.get(row.lot.bed, 0.0) + area
    return [
        {
            "bed": b,
            "kind": place(b.place).label,
            "used": used.get(b.name, 0.0),
            "share": 100.0 * used.get(b.name, 0.0) / b.area_m2,
        }
        for b in station.equipment.beds
    ]
