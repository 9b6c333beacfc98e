"""A lot's page: its way, its balance, its drying curve, and what can be done next."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.lots.drying import case_key, lot_case, lot_forecast
from drydown.books.lots.mend import own_last
from drydown.books.lots.readings import readable, record_reading
from drydown.books.lots.states import yard_now
from drydown.books.lots.story import Story, story_of
from drydown.books.lots.take import take_step
from drydown.books.lots.watch import Level
from drydown.books.models import Happening, Lot, Reading
from drydown.books.people.access import NotAllowedError
from drydown.desk.chart import Dot, curve_svg
from drydown.desk.context import need_station
from drydown.desk.lotdrying import drying_context
from drydown.desk.lotsteps import (
    foot_cautions,
    hours_words,
    may_take,
    step_asks,
    step_cautions,
    step_form,
    steps_here,
)
from drydown.desk.people import guarded, may_here, told, who
from drydown.desk.views.forms import ReadingForm, StepForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.numerals import number
from drydown.outlook.cautions import FIRST, cautions
from drydown.station.model import Station
from drydown.way.order import may_follow
from drydown.way.order import step as find_step
from drydown.way.order import steps as all_steps
from drydown.words import say

__all__ = ["curve", "lot_page", "reading", "step"]


@require_safe
@answered
@guarded("lots.way")
def lot_page(request: HttpRequest, code: str) -> HttpResponse:
    """Everything about one lot."""
    return _page(request, get_object_or_404(Lot, code=code), need_station())


def _page(
    request: HttpRequest,
    lot: Lot,
    station: Station,
    bound: tuple[str, StepForm] | None = None,
    reading_form: ReadingForm | None = None,
) -> HttpResponse:
    story = story_of(lot, station, timezone.now())
    danger = any(f.level == Level.DANGER for f in story.flags)
    steps = [
        (s, step_form(s, lot, station, story.yard, bound), step_cautions(s, story.state, station))
        for s in steps_here(request, story, bound)
    ]
    shown = {c.text for _s, _f, warned in steps for c in warned}
    context: dict[str, Any] = {
        "lot": lot,
        "fruit_g": story.fruit_g,
        "steps": steps,
        "tank": story.state.at("tank"),
        "readable": story.readable,
        "local_first": FIRST,
        "bound_form": bound[1] if bound else None,
        "bound_kind": bound[0] if bound else "",
        "reading_form": reading_form or ReadingForm(),
        "way": _way(request, story, station),
        "deliveries": story.deliveries,
        "samples": story.samples,
        "money": station.money,
        "books": story.books,
        "above": story.above,
        "below": story.below,
        "note": story.note,
        "balance": story.balance,
        "due": story.due,
        "flags": story.flags,
        "danger_cautions": cautions("mould") if danger else (),
        "cautions": [c for c in foot_cautions(story.state, station) if c.text not in shown],
    } | drying_context(story)
    return render(request, "desk/lot.html", context, status=400 if (bound or reading_form) else 200)


def _visible(h: Happening, sales: bool) -> dict[str, Any]:
    """A step's details without buyer and price, for roles that do not see sales."""
    if h.kind != "sell" or sales:
        return dict(h.details)
    return {k: v for k, v in h.details.items() if k == "mass_kg"}


def _way(request: HttpRequest, story: Story, station: Station) -> list[dict[str, Any]]:
    """Steps and readings in order of time, with what whoever asks may mend of them."""
    sales, all_mine = may_here(request, "lots.sales"), may_here(request, "journal.undo", write=True)
    last, zone = own_last(request.user), station.place.site().zone
    rows = [
        {
            "row": row, "what": _what(row), "details": _told(row, sales),
            "at": row.happened_at.astimezone(zone),
            "mendable": all_mine or (last is not None and last.pk == row.entry_id),
        }
        for row in story.way
    ]  # fmt: skip
    return sorted(rows, key=lambda row: (row["at"], row["row"].entry_id))


def _what(row: Happening | Reading) -> str:
    return _("moisture read") if isinstance(row, Reading) else _(find_step(row.kind).past)


def _told(row: Happening | Reading, sales: bool) -> str:
    """What was told of a step or a reading, with the units its step's file gives."""
    if isinstance(row, Reading):
        temp = f", {row.bean_temp_c:g} C" if row.bean_temp_c is not None else ""
        return f"{row.moisture_wb * 100:.1f} % wb ({row.method}{temp})"
    units = {ask.name: ask.shown for ask in find_step(row.kind).asks if ask.kind in {"kilograms", "number"}}
    parts = [
        f"{number(v, 0 if v == int(v) else 1 if k != 'ph' else 2)} {units[k]}" if k in units else str(v)
        for k, v in _visible(row, sales).items() if v is not True
    ]  # fmt: skip
    if row.details.get("wet"):
        parts.append(_("said to be wet"))
    return ", ".join(parts)


@require_http_methods(["GET", "HEAD", "POST"])
@answered
def step(request: HttpRequest, code: str) -> HttpResponse:
    """Record a step that can follow; loaded anew after a refusal, it is the lot's page."""
    if request.method != "POST":
        return redirect("lot", code=code)
    lot, station = get_object_or_404(Lot, code=code), need_station()
    kind = request.POST.get("kind", "")
    if kind not in all_steps():
        raise InputError(say("'{kind}' is not a step.", kind=kind), code)
    if not may_take(request, kind):
        raise NotAllowedError(_("Your role does not record this step. Ask the owner."))
    if kind not in may_follow(lot.route, lot.stage):
        words = _("Not recorded: the lot is %(stage)s already. Someone else may have been quicker.")
        messages.error(request, words % {"stage": lot.stage_words()})
        return redirect("lot", code=code)
    form = StepForm(
        step_asks(kind, lot, station), station, request.POST, auto_id=f"id_{kind}_%s",
        yard=yard_now(station, without=lot), hours=hours_words(kind, lot, station),
    )  # fmt: skip
    if form.is_valid():
        try:
            key, at = form.cleaned_data["key"], form.stated()
            taken = take_step(lot, kind, key, at, who(request), form.details(), station)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            told(request, _("Recorded: %s.") % _(find_step(kind).past), taken.happening.entry_id)
            for odd in taken.findings:
                messages.warning(request, f"{odd.words} [{odd.source.text}, {odd.source.status}]")
            if kind == "sample":
                return redirect("sample", number=taken.happening.entry_id)
            return redirect("lot", code=code)
    return _page(request, lot, station, bound=(kind, form))


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("readings.moisture")
def reading(request: HttpRequest, code: str) -> HttpResponse:
    """Record a moisture reading; loaded anew after a refusal, it is the lot's page."""
    if request.method != "POST":
        return redirect("lot", code=code)
    lot, station = get_object_or_404(Lot, code=code), need_station()
    form = ReadingForm(request.POST)
    if not readable(lot):
        raise InputError(
            say(
                "is {stage_words}, so it is not spread yet, or gone; a reading belongs to a drying "
                "or stored lot.",
                stage_words=lot.stage_words(),
            ),
            code,
        )
    if form.is_valid():
        data = form.cleaned_data
        try:
            kept = record_reading(
                lot, data["key"], data["moisture"], data["method"], data["bean_temp"], form.stated(),
                who(request),
            )  # fmt: skip
        except InputError as error:
            form.add_error(None, str(error))
        else:
            _warn_of_rise(request, lot, kept)
            words = _("Recorded: %(m)g %% wet basis.") % {"m": round(kept.moisture_wb * 100, 6)}
            told(request, words, kept.entry_id)
            return redirect("lot", code=code)
    return _page(request, lot, station, reading_form=form)


def _warn_of_rise(request: HttpRequest, lot: Lot, kept: Reading) -> None:
    """A lot that reads two points wetter than before in time was rewetted, or one reading is wrong."""
    earlier = lot.readings.filter(undone=False, happened_at__lte=kept.happened_at).exclude(pk=kept.pk)
    before = earlier.order_by("-happened_at", "-entry_id").first()
    rise = 100.0 * (kept.moisture_wb - before.moisture_wb) if before is not None else 0.0
    if rise > 2.0:
        words = _("%(rise).1f points wetter than the reading before: was it rewetted? %(caution)s")
        messages.warning(request, words % {"rise": rise, "caution": cautions("mould")[0].text})


@require_safe
@answered
@guarded("lots.way")
def curve(request: HttpRequest, code: str) -> HttpResponse:  # noqa: ARG001
    """The drying curve as a picture."""
    lot, station = get_object_or_404(Lot, code=code), need_station()
    case = lot_case(lot, station)
    if case is None:
        raise InputError("is not drying; there is no curve.", code)
    zone = station.place.site().zone
    readings = lot.readings.filter(undone=False)
    dots: list[Dot] = [(r.happened_at.astimezone(zone), r.moisture_wb) for r in readings]
    svg = curve_svg(lot_forecast(case, station), dots, case_key(case, station))
    response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response
