"""The week: does it fit, what it costs, what to do when it does not; accepted, and held against what came."""

from __future__ import annotations

import hashlib
import threading
import uuid
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from drydown.books.daybook.plans import last_accepted
from drydown.books.models import Entry
from drydown.books.numbers import parse_decimal
from drydown.books.planning.gather import dry_times, expect, expected, week_of
from drydown.books.planning.kept import accept, held
from drydown.desk.context import need_station
from drydown.desk.people import guarded, told, who
from drydown.desk.prints import pdf
from drydown.desk.views.problem import answered
from drydown.desk.weekpic import picture_of
from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.outlook.cautions import at_command
from drydown.plan.answer import Answer, answer_of, priced
from drydown.plan.changes import changes
from drydown.plan.told import Row, elsewhere, rows_of, wall
from drydown.station.harvest import DAYS_SOURCE
from drydown.way.waiting import WAIT_SOURCE
from drydown.words import say

__all__ = ["week", "week_accept", "week_before", "week_expect", "week_print"]

KEPT_S = 3600
MONEY_SOURCE = Source(
    "own choices: a day of lying costs 0.1 % of a lot's worth, a thicker layer 0.5 %, another place than in "
    "the plan before 1 %, fruit not taken all of its price; the mould's chance 30 % of the worth",
    Status.OWN_ESTIMATE,
)


_one = threading.RLock()


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer that was shown, so that what is accepted is what was seen."""

    answer: Answer
    key: str


@require_safe
@answered
@guarded("lots.way")
def week(request: HttpRequest) -> HttpResponse:
    """The plan of the coming days."""
    station = need_station()
    wish = _wish(request)
    odd = next((p for p in wish.values() if p not in station.drying_places()), None)
    if odd is not None:
        raise InputError(say("is not a drying place here: {p}.", p=odd), "the wish")
    kept = None
    if request.GET.get("go") or request.headers.get("HX-Request") or _is_kept(request):
        kept = _answer(request, wish)
    if kept and not set(wish) <= {j.name for j in kept.answer.built.problem.jobs}:
        raise InputError(say("names a lot that is not in this week: {n}.", n=next(iter(wish))), "the wish")
    now = timezone.now().astimezone(station.place.site().zone)
    rows, accepted = rows_of(kept.answer) if kept else [], last_accepted()
    context: dict[str, Any] = {
        "kept": kept, "days": _by_day(rows), "wish": wish, "now": now, "station": station,
        "picture": picture_of(kept.answer) if kept else None, "key": uuid.uuid4(),
        "expected": expected(station, now, 8), "days_source": DAYS_SOURCE, "accepted": accepted,
        "changed": changes(rows, accepted.was(), now) if kept and accepted else [],
        "sources": (MONEY_SOURCE, WAIT_SOURCE), "cautions": at_command("plan"), "species": station.species,
        "routes": station.routes,
        "places": list(station.drying_places()), "again": "?" + urlencode({"go": 1, **_asked(request)}),
        "money": station.money, "why": _why(request, kept), "wish_costs": _wish_costs(request, kept, wish),
    }  # fmt: skip
    return render(request, "desk/week.html", context)


def _asked(request: HttpRequest) -> dict[str, str]:
    return {k: v for k in ("lot", "place", "worth", "why") if (v := request.GET.get(k, "").strip())}


def _wish(request: HttpRequest) -> dict[str, str]:
    lot, place = request.GET.get("lot", "").strip(), request.GET.get("place", "").strip()
    return {lot[:40]: place[:80]} if lot and place else {}


def _name(wish: dict[str, str]) -> str:
    quarter = timezone.now().replace(second=0, microsecond=0)
    stamp = f"{quarter:%Y%m%d%H}{quarter.minute // 15}|{wish}|{_changes()}"
    return "week-" + hashlib.sha256(stamp.encode()).hexdigest()


def _changes() -> str:
    """The last entry and the station file: a delivery, a reading, a breakdown make another plan."""
    last = Entry.objects.order_by("-number").values_list("number", flat=True).first()
    return f"{last}|{need_station().model_dump_json()}"


def _is_kept(request: HttpRequest) -> bool:
    return cache.get(_name(_wish(request))) is not None


def _answer(request: HttpRequest, wish: dict[str, str]) -> Kept:
    """The answer as it was shown in this quarter of an hour, else made; priced where that is asked."""
    with _one:  # a second who asks meanwhile gets what the first one made
        return _made(request, wish)


def _made(request: HttpRequest, wish: dict[str, str]) -> Kept:
    name = _name(wish)
    found = cache.get(name)
    kept = found if isinstance(found, Kept) else None
    if kept is None:
        made, _waiting = week_of(need_station(), timezone.now(), wishes=wish)
        kept = Kept(answer_of(made, dry_times(made), settings.SOLVE_S, prices=False), name)
        cache.set(name, kept, KEPT_S)
    if request.GET.get("worth") and not kept.answer.worth:
        answer = kept.answer
        kept = replace(kept, answer=replace(answer, worth=priced(answer, dry_times(answer.week))))
        cache.set(name, kept, KEPT_S)
    return kept


def _wish_costs(request: HttpRequest, kept: Kept | None, wish: dict[str, str]) -> int | None:
    """What a wish costs beside the plan without it."""
    if kept is None or not wish:
        return None
    return kept.answer.plan.cost - _answer(request, {}).answer.plan.cost


def _why(request: HttpRequest, kept: Kept | None) -> tuple[str, list[tuple[str, int, float]]] | None:
    lot = request.GET.get("why", "").strip()[:40]
    return (lot, elsewhere(kept.answer, lot)) if kept and lot else None


def _by_day(rows: list[Row]) -> list[tuple[date, list[Row]]]:
    found: dict[date, list[Row]] = {}
    for row in rows:
        found.setdefault(row.begin.date(), []).append(row)
    return list(found.items())


@require_POST
@answered
@guarded("lots.way")
def week_accept(request: HttpRequest) -> HttpResponse:
    """Accept the plan that was shown."""
    found = cache.get(request.POST.get("plan", ""))
    if not isinstance(found, Kept):
        raise InputError("is no longer at hand.", "the plan", "Open the week anew and accept what it shows.")
    try:
        key = uuid.UUID(request.POST.get("key", ""))
    except ValueError as error:
        raise InputError("this form has no key.", fix="Open the page anew.") from error
    entry = accept(found.answer, key, timezone.now(), who(request))
    told(request, _("Accepted: its tasks stand among the day's lines when their hour comes."), entry.pk)
    return redirect("week")


@require_POST
@answered
@guarded("lots.way")
def week_expect(request: HttpRequest) -> HttpResponse:
    """Keep what somebody expects of a day."""
    station = need_station()
    try:
        on = date.fromisoformat(request.POST.get("day", ""))
        key = uuid.UUID(request.POST.get("key", ""))
    except ValueError as error:
        raise InputError("the day or the form's key cannot be read.", "fruit expected") from error
    species, route = request.POST.get("species", ""), request.POST.get("route", "")
    if species not in station.species or route not in station.routes:
        raise InputError("is not taken in here.", f"{species[:30]}, {route[:30]}")
    kg = float(parse_decimal(request.POST.get("kg", ""), _("fruit expected, kg")))
    entry = expect(on, species, route, kg, key, who(request))
    told(request, _("Kept: %(kg).0f kg on %(day)s.") % {"kg": kg, "day": on.strftime("%d.%m.")}, entry.pk)
    return redirect(reverse("week") + "?go=1")


@require_safe
@answered
@guarded("lots.way")
def week_before(request: HttpRequest) -> HttpResponse:
    """Plans that were accepted, beside what was done."""
    rows = held(timezone.now())
    done = [h for h in rows if h.late_h is not None]
    late = [h for h in done if h.late_h is not None and h.late_h > 1.0]
    context = {"rows": rows, "done": len(done), "late": len(late)}
    return render(request, "desk/weekbefore.html", context)


@require_safe
@answered
@guarded("lots.way")
def week_print(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The accepted plan for the wall, as PDF."""
    station, found = need_station(), last_accepted()
    if found is None:
        raise InputError("none was accepted yet.", "the plan", "Open the week and accept one.")
    zone = station.place.site().zone
    since = timezone.now() - timedelta(hours=12)
    tasks = ((t["begin"].astimezone(zone), t["words"]) for t in found.tasks if t["begin"] >= since)
    data = wall(station.place.name, found.at.astimezone(zone), tasks)
    response = HttpResponse(pdf("week", data), content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="week.pdf"'
    return response
