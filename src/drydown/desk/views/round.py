"""A round of the beds: all readings of a walk in one form; a bed raked, covered or uncovered in one tap."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from drydown.books.daybook.acts import BED_KINDS, do_act, lots_at
from drydown.books.lots.readings import record_reading
from drydown.books.models import Lot, Reading
from drydown.books.numbers import parse_decimal
from drydown.day.line import Act
from drydown.desk.context import need_station
from drydown.desk.people import guarded, told, who
from drydown.desk.views.problem import answered
from drydown.errors import DrydownError, InputError
from drydown.station.model import Station
from drydown.way.order import stages, step
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["bed_act", "walk"]

FRESH = timedelta(hours=20)


@dataclass(slots=True)
class Row:
    """A lot of the walk, with what was typed and why it was not taken."""

    lot: Lot
    typed: str = ""
    trouble: str = ""


def _walk(station: Station, of: str, now: datetime) -> list[tuple[str, list[Row]]]:
    """Lots in walking order by place; "all" drying, those "due" (not read today), or those in "store"."""
    if of == "store":
        names = [s.name for s in stages().values() if s.dry]
        lots = list(Lot.objects.filter(stage__in=names).order_by("store", "code"))
        places = list(dict.fromkeys(x.store for x in lots))
        return [(p or _("no store"), [Row(x) for x in lots if x.store == p]) for p in places]
    lots = list(Lot.objects.filter(stage=Stage.DRYING).order_by("opened_on", "code"))
    if of != "all":
        lots = [x for x in lots if x.known_at is None or now - x.known_at > FRESH]
    found = []
    for name in station.drying_places():
        own = [Row(x) for x in lots if x.bed == name]
        if own:
            found.append((name, own))
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("readings.moisture")
def walk(request: HttpRequest) -> HttpResponse:
    """All readings of a walk in one form; good ones are kept, the others stay with why."""
    station, now = need_station(), timezone.now()
    of = request.POST.get("of") or request.GET.get("of", "due")
    places = _walk(station, of, now)
    last = Reading.objects.filter(undone=False).order_by("-entry_id").first()
    method = request.POST.get("method", last.method if last else "").strip()
    key = request.POST.get("key", "") or str(uuid.uuid4())
    if request.method == "POST":
        kept, refused = _keep(request, [r for _p, own in places for r in own], method, key)
        if kept and not refused:
            told(request, _("Recorded: %d readings.") % len(kept), kept[-1])
            return redirect("day")
        if kept:
            messages.success(request, _("Recorded: %d readings; those below are still open.") % len(kept))
            places = [(p, [r for r in own if r.trouble or not r.typed]) for p, own in places]
        if not kept and not refused:
            messages.error(request, _("Nothing was typed."))
    context = {
        "places": places,
        "of": of,
        "method": method,
        "key": key,
        "kinds": _kinds(),
        "beds": _beds(station),
    }
    return render(request, "desk/round.html", context, status=400 if request.method == "POST" else 200)


def _keep(request: HttpRequest, rows: list[Row], method: str, key: str) -> tuple[list[int], int]:
    """Keep what was typed; entries that were kept, and how many were refused."""
    kept, refused = [], 0
    base = uuid.UUID(key)
    for row in rows:
        row.typed = request.POST.get(f"m-{row.lot.code}", "").strip()
        if not row.typed:
            continue
        try:
            value = float(parse_decimal(row.typed, _("moisture, % wet basis")))
            told_key = uuid.uuid5(base, f"{row.lot.code}:{value}")
            kept.append(record_reading(row.lot, told_key, value, method, None, None, who(request)).entry_id)
        except (DrydownError, ValueError) as error:
            row.trouble = str(error)
            refused += 1
    return kept, refused


def _kinds() -> list[tuple[str, str]]:
    return [(kind, _(step(kind).words)) for kind in BED_KINDS]


def _beds(station: Station) -> list[tuple[str, int]]:
    """Places with lots that dry there, and how many."""
    count: dict[str, int] = {}
    for bed in Lot.objects.filter(stage=Stage.DRYING).values_list("bed", flat=True):
        count[bed] = count.get(bed, 0) + 1
    return [(name, count[name]) for name in station.drying_places() if name in count]


@require_POST
@answered
@guarded("lots.way")
def bed_act(request: HttpRequest) -> HttpResponse:
    """Rake, cover or uncover a whole place, or all of them, in one tap."""
    station, kind, bed = need_station(), request.POST.get("kind", ""), request.POST.get("bed", "")
    codes = tuple(x.code for x in lots_at(kind, bed, station))
    if not codes:
        raise InputError(
            say("nothing there can be done so: {words}.", words=step(kind).words), bed or "all beds"
        )
    try:
        key = uuid.UUID(request.POST.get("key", ""))
    except ValueError as error:
        raise InputError("this form has no key.", fix="Open the page anew.") from error
    out = do_act(Act(kind, codes), key, who(request), station)
    if out.entry is not None:
        words = _("Recorded: %(what)s, %(n)d lots, %(bed)s.")
        told(
            request,
            words % {"what": _(step(kind).past), "n": len(out.kept), "bed": bed or _("all places")},
            out.entry,
        )
    for code, why in out.refused[:5]:
        messages.error(request, f"{code}: {why}")
    return redirect(request.POST.get("back") or "round")
