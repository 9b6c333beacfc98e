"""The yard: which lot is where, and when it will be dry."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from drydown.books.lots.states import yard_now
from drydown.books.lots.weighing import growers_like
from drydown.books.models import Delivery, Grower, Happening, Lot
from drydown.desk.context import need_station
from drydown.desk.people import guarded, may_here
from drydown.desk.views.problem import answered
from drydown.desk.yardask import Asked, asked_of, choices_of, counts_of
from drydown.desk.yardmap import map_of
from drydown.desk.yardpic import axis_of, picture_of
from drydown.desk.yardrows import Row, rows_of
from drydown.way.order import stages
from drydown.way.order import step as find_step
from drydown.way.state import Stage

__all__ = ["home", "more", "yard"]

AT_ONCE_S, FILLING_S = 0.8, 2.0
"""Seconds for forecasts that are not kept: on the first answer, and on each that fills in."""
MOST = 400
"""Lots on one list; the latest are shown, and the list says that there are more."""


@require_safe
@answered
def home(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The day, or set-up while there is no station."""
    return redirect("day")


@require_safe
def more(request: HttpRequest) -> HttpResponse:
    """Everything that is not needed every hour."""
    return render(request, "desk/more.html")


def _stages_of(show: str) -> list[str]:
    """Names of the stages on a list of the yard: on their way, stored, or gone."""
    kept = [s.name for s in stages().values() if s.lies == "store"]
    if show == "stored":
        return kept
    if show == "gone":
        return [Stage.GONE]
    return [name for name in stages() if name not in kept and name != Stage.GONE]


def _lots_shown(show: str) -> Any:
    fruit = Sum("deliveries__net_g", filter=Q(deliveries__undone=False))
    lots = Lot.objects.annotate(net=fruit).exclude(stage=Stage.GATHERING, net=None)
    return lots.filter(stage__in=_stages_of(show))


@require_safe
@answered
@guarded("lots.way")
def yard(request: HttpRequest) -> HttpResponse:
    """Every lot on its way, as a picture and as a list; those stored or gone on their own lists."""
    station, asked, now = need_station(), asked_of(request.GET), timezone.now()
    exact = Lot.objects.filter(code__iexact=asked.q).first() if asked.q else None
    if exact is not None:
        return redirect("lot", exact.code)
    found = list(_lots_shown(asked.show)[: MOST + 1])
    places = yard_now(station)
    budget = FILLING_S if request.headers.get("HX-Request") else AT_ONCE_S
    rows = rows_of(found[:MOST], station, places, now, budget)
    growers = _growers_like(asked.q, request)
    brought = _lots_of(growers)
    chosen = [r for r in rows if asked.fits(r, brought)]
    axis = axis_of(station, now)
    context = {
        "asked": asked, "rows": asked.ordered(chosen), "cut": len(found) > MOST, "most": MOST,
        "counts": counts_of(rows), "menus": choices_of(rows, asked), "axis": axis, "now": now,
        "columns": picture_of(rows, chosen, places, axis) if asked.show == "way" else [],
        "stage_counts": _stage_counts(rows), "waiting": sum(r.waiting for r in rows),
        "sum_kg": sum(r.holds_kg for r in chosen), "besides": _besides(asked, growers),
        "others": [*places.tanks.values(), *places.stores.values()],
        "map": map_of(station, places) if asked.show == "way" else None,
        "machines": [*station.equipment.pulpers, *station.equipment.hullers],
        **(_ends(chosen) if asked.show != "way" else {}),
    }  # fmt: skip
    return render(request, "desk/yard.html", context)


def _stage_counts(rows: list[Row]) -> list[tuple[str, int]]:
    """How many lots stand at each stage, in the order of the way."""
    counted = [(s.words, sum(r.lot.stage == s.name for r in rows)) for s in stages().values()]
    return [(words, n) for words, n in counted if n]


def _growers_like(q: str, request: HttpRequest) -> list[Grower]:
    """Growers whose name, number or village is like what was sought, for those who may see names."""
    if not q or not may_here(request, "growers.names"):
        return []
    return list(growers_like(q)[:12])


def _lots_of(growers: list[Grower]) -> set[str]:
    """Codes of the lots that growers brought fruit to."""
    if not growers:
        return set()
    rows = Delivery.objects.filter(grower__in=growers, undone=False)
    return set(rows.values_list("lot__code", flat=True))


def _besides(asked: Asked, growers: list[Grower]) -> dict[str, Any]:
    """What else was found: growers, and lots on the other lists."""
    if not asked.q:
        return {}
    like = Q(code__icontains=asked.q) | Q(bed__icontains=asked.q) | Q(store__icontains=asked.q)
    lots = Lot.objects.filter(like).exclude(stage__in=_stages_of(asked.show))[:12]
    return {"growers": growers, "lots": list(lots)}


def _ends(rows: list[Row]) -> dict[str, Any]:
    """For lots that are stored or gone: what was done last, and bags where a sample told them."""
    last: dict[int, Happening] = {}
    bags: dict[int, str] = {}
    ids = [r.lot.pk for r in rows]
    for h in Happening.objects.filter(lot__in=ids, undone=False).order_by("happened_at", "entry_id"):
        if h.kind == "sample":
            told = h.details.get("bags_in_lot")
            bags[h.lot_id] = f"{told:g}" if isinstance(told, int | float) else bags.get(h.lot_id, "")
        else:
            last[h.lot_id] = h
    return {"ends": [(r, bags.get(r.lot.pk, ""), _words(last.get(r.lot.pk))) for r in rows]}


def _words(last: Happening | None) -> str:
    return _(find_step(last.kind).past) if last is not None else ""
