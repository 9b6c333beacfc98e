"""The yard: which lot is where, and when it will be dry."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db.models import Q, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from drydown.books.lots.drying import lot_case, lot_forecast
from drydown.books.lots.states import yard_now
from drydown.books.lots.watch import READ_WORDS, Flag, Level, due, flags_of
from drydown.books.models import Holding, Lot
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.views.problem import answered
from drydown.errors import DrydownError
from drydown.outlook.forecast import DryingForecast
from drydown.station.model import Station
from drydown.way.names import DRY
from drydown.way.order import stages, step
from drydown.way.state import Stage
from drydown.way.yard import Yard

__all__ = ["home", "more", "yard"]


FAR = datetime.max.replace(tzinfo=UTC)


def _shown(which: str) -> list[str]:
    """Names of the stages on a list of the yard: on their way, stored, or gone."""
    kept = [s.name for s in stages().values() if s.dry]
    if which == "stored":
        return kept
    if which == "gone":
        return [Stage.GONE]
    return [name for name in stages() if name not in kept and name != Stage.GONE]


@dataclass(frozen=True, slots=True)
class Row:
    """One lot in the yard."""

    lot: Lot
    net_g: int
    dry_g: int
    todo: str
    flags: list[Flag]
    dry_on: tuple[Any, Any, Any] | None
    last_wb: float | None
    last_percent: float
    trouble: str

    @property
    def endangered(self) -> bool:
        """Whether something about it can hurt."""
        return any(f.level == Level.DANGER for f in self.flags)


@require_safe
@answered
def home(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The yard, or set-up while there is no station."""
    return redirect("yard")


@require_safe
def more(request: HttpRequest) -> HttpResponse:
    """Everything that is not needed every hour."""
    return render(request, "desk/more.html")


@require_safe
@answered
@guarded("lots.way")
def yard(request: HttpRequest) -> HttpResponse:
    """Lots by where they stand; those that are stored on their own list."""
    station = need_station()
    shown = request.GET.get("show", "way")
    fruit = Sum("deliveries__net_g", filter=Q(deliveries__undone=False))
    lots = Lot.objects.annotate(net=fruit).exclude(stage=Stage.GATHERING, net=None)
    chosen = lots.filter(stage__in=_shown(shown))
    found = list(chosen[:160])
    matter, places, now = _matter(found), yard_now(station), timezone.now()
    rows = [_row(lot, station, matter.get(lot.account, 0), places, now) for lot in found]
    rows.sort(key=lambda r: (r.dry_on is None, r.dry_on[1] or FAR if r.dry_on else FAR))
    worst = sorted((r for r in rows if r.endangered), key=lambda r: -max(f.weight for f in r.flags))
    groups = [(_("in danger"), worst)]
    calm = [r for r in rows if not r.endangered]
    groups += [(_(s.words), [r for r in calm if r.lot.stage == s.name]) for s in stages().values()]
    context = {
        "groups": [g for g in groups if g[1]],
        "shown": shown,
        "beds": list(places.beds.values()),
        "others": [*places.tanks.values(), *places.stores.values()],
        "machines": [*station.equipment.pulpers, *station.equipment.hullers],
        "now": now,
    }
    return render(request, "desk/yard.html", context)


def _matter(lots: list[Any]) -> dict[str, int]:
    """Dry matter each lot holds, g, by account."""
    rows = Holding.objects.filter(account__name__in=[lot.account for lot in lots], commodity=DRY)
    return dict(rows.values_list("account__name", "amount"))


def _row(lot: Any, station: Station, dry_g: int, places: Yard, now: datetime) -> Row:
    found: DryingForecast | None = None
    trouble = ""
    if lot.stage == Stage.DRYING:
        try:
            case = lot_case(lot, station)
            found = lot_forecast(case, station) if case else None
            trouble = (
                "" if case else _("no forecast: its place or its drying table is not in the station file")
            )
        except DrydownError as error:
            trouble = str(error)
    last = lot.known_wb
    middle = found.dry_on()[1] if found else None
    kind = due(lot, station, now, passed=middle is not None and middle < now)
    return Row(
        lot,
        lot.net or 0,
        dry_g,
        _(READ_WORDS) if kind == "read" else _(step(kind).words) if kind else "",
        flags_of(lot, now, places, found),
        found.dry_on() if found else None,
        last,
        100.0 * (last or 0.0),
        trouble,
    )
