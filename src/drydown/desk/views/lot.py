"""A lot's page: its way, its balance, its drying curve, and what can be done next."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from drydown.books.lots.outlook import kept_outlook, lot_outlook
from drydown.books.lots.story import Story, story_of
from drydown.books.lots.watch import Level, held_back
from drydown.books.models import Lot, Reading
from drydown.desk.chart import Dot, curve_svg
from drydown.desk.context import need_station
from drydown.desk.lotdrying import drying_context
from drydown.desk.lotsteps import (
    foot_cautions,
    step_cautions,
    step_form,
    steps_here,
)
from drydown.desk.lotway import way_rows
from drydown.desk.marks import mark_of
from drydown.desk.people import guarded
from drydown.desk.views.forms import ReadingForm, StepForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.outlook.cautions import FIRST, cautions
from drydown.outlook.rules import window_days
from drydown.station.model import Station
from drydown.way.order import stage
from drydown.way.state import Stage
from drydown.way.yard import room_of

__all__ = ["curve", "lot_page", "whole_page"]


@require_safe
@answered
@guarded("lots.way")
def lot_page(request: HttpRequest, code: str) -> HttpResponse:
    """Everything about one lot."""
    return whole_page(request, get_object_or_404(Lot, code=code), need_station())


def whole_page(
    request: HttpRequest,
    lot: Lot,
    station: Station,
    bound: tuple[str, StepForm] | None = None,
    reading_form: ReadingForm | None = None,
) -> HttpResponse:
    """The page of a lot; with a form that was refused, as it was sent."""
    story = story_of(lot, station, timezone.now())
    held = held_back(lot, story.flags)
    danger = any(f.level == Level.DANGER for f in story.flags)
    steps = [
        (s, step_form(s, lot, station, story.yard, bound), step_cautions(s, story.state, station))
        for s in steps_here(request, story, bound)
    ]
    shown = {c.text for _s, _f, warned in steps for c in warned}
    context: dict[str, Any] = (
        {
            "lot": lot,
            "fruit_g": story.fruit_g,
            "steps": steps,
            "readable": story.readable,
            "local_first": FIRST,
            "bound_form": bound[1] if bound else None,
            "bound_kind": bound[0] if bound else request.GET.get("do", ""),
            "reading_form": reading_form or ReadingForm(initial=_as_last_read(lot)),
            "way": way_rows(request, story, station),
            "next_to": _next_to(lot),
            "place": story.state.at(stage(lot.stage).lies or ""),
            "m2": room_of(story.state, "bed", station) if lot.stage == Stage.DRYING else 0.0,
            "growers": len({d.grower_id for d in story.deliveries}),
            "marks": [(mark_of(f), f) for f in story.flags],
            "deliveries": story.deliveries,
            "samples": story.samples,
            "books": story.books,
            "above": story.above,
            "below": story.below,
            "note": story.note,
            "balance": story.balance,
            "due": "" if held else story.due,
            "held": held,
            "danger_cautions": cautions("mould") if danger else (),
            "cautions": [c for c in foot_cautions(story.state, station) if c.text not in shown],
        }
        | drying_context(story, station)
        | _gauge(story)
    )
    return render(request, "desk/lot.html", context, status=400 if (bound or reading_form) else 200)


def _as_last_read(lot: Lot) -> dict[str, str]:
    """The meter of the last reading: of this lot, else of any."""
    rows = Reading.objects.filter(undone=False).order_by("-entry_id")
    last = rows.filter(lot=lot).first() or rows.first()
    return {"method": last.method} if last else {}


def _next_to(lot: Lot) -> tuple[str, str]:
    """The lots before and after this one among those of its stage, by code."""
    codes = list(
        Lot.objects.filter(stage=lot.stage).order_by("opened_on", "code").values_list("code", flat=True)
    )
    at = codes.index(lot.code) if lot.code in codes else -1
    return (codes[at - 1] if at > 0 else "", codes[at + 1] if 0 <= at < len(codes) - 1 else "")


def _gauge(story: Story) -> dict[str, Any]:
    """The mould window of the whole way as a bar with its two rules, in units of a tenth of an hour."""
    clock = story.drying.clock
    if clock is None or not clock.figure.high:
        return {}
    hours, so_far, high = clock.whole_h, min(clock.so_far_h, clock.whole_h), clock.figure.high
    rules = [24.0 * d for d in window_days()]
    full = max(1.2 * rules[1], 1.08 * high)
    at = [round(1000 * v / full) for v in (so_far, hours, high, *rules)]
    return {"gauge": {
        "hours": hours, "at": at, "words": [round(v / 10) for v in at], "rules": [round(r) for r in rules]
    }}  # fmt: skip


@require_safe
@answered
@guarded("lots.way")
def curve(request: HttpRequest, code: str) -> HttpResponse:  # noqa: ARG001
    """The drying curve as a picture."""
    lot, station = get_object_or_404(Lot, code=code), need_station()
    found = lot_outlook(lot, station)
    if found is None:
        raise InputError("is not drying; there is no curve.", code)
    zone = station.place.site().zone
    readings = lot.readings.filter(undone=False)
    dots: list[Dot] = [(r.happened_at.astimezone(zone), r.moisture_wb) for r in readings]
    svg = curve_svg(found.forecast, dots, kept_outlook(lot, station)[1])
    response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response
