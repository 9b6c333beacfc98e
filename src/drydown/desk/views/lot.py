"""A lot's page: its way, its balance, its drying curve, and what can be done next."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.lots.drying import (
    case_key,
    lot_balance,
    lot_case,
    lot_forecast,
)
from drydown.books.lots.family import ancestors, descendants
from drydown.books.lots.flow import PAST, STEPS, next_steps
from drydown.books.lots.gate import cherry_kg
from drydown.books.lots.habits import lot_form
from drydown.books.lots.holdings import book_view
from drydown.books.lots.mend import own_last
from drydown.books.lots.places import tank_of, yard_of
from drydown.books.lots.take import READABLE, record_reading, take_step
from drydown.books.lots.watch import Level, due, flags_of
from drydown.books.models import Happening, Lot, Reading
from drydown.books.people.access import NotAllowedError
from drydown.desk.chart import Dot, curve_svg
from drydown.desk.context import need_station
from drydown.desk.lotdrying import drying_context, or_none
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
from drydown.matter.sorption import fit_note
from drydown.numerals import number
from drydown.outlook.cautions import FIRST, cautions
from drydown.station.model import Station

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
    steps = steps_here(request, lot, station, bound)
    yard = yard_of(station, without=lot)
    deliveries = lot.deliveries.filter(undone=False).select_related("grower")
    context: dict[str, Any] = {
        "lot": lot,
        "fruit_g": round(cherry_kg(lot) * 1000),
        "steps": [
            (s, step_form(s, lot, station, yard, bound), step_cautions(s, lot, station)) for s in steps
        ],
        "tank": tank_of(lot),
        "readable": lot.stage in READABLE,
        "local_first": FIRST,
        "bound_form": bound[1] if bound else None,
        "bound_kind": bound[0] if bound else "",
        "reading_form": reading_form or ReadingForm(),
        "way": _way(request, lot, station),
        "deliveries": deliveries,
        "samples": lot.happenings.filter(kind="sample", undone=False),
        "money": station.money,
        "books": book_view(lot, station.money),
        "above": ancestors(lot),
        "below": descendants(lot),
        "note": fit_note(lot.species, "washed" if lot.route == "washed" else lot_form(lot)),
    }
    if context["fruit_g"]:
        context["balance"] = or_none(lambda: lot_balance(lot, station))
    context |= drying_context(lot, station)
    context["due"] = due(lot, station, timezone.now(), passed=bool(context.get("passed")))
    context["flags"] = flags_of(lot, timezone.now(), yard_of(station), context.get("forecast"))
    danger = any(f.level == Level.DANGER for f in context["flags"])
    context["danger_cautions"] = cautions("mould") if danger else ()
    shown = {c.text for _s, _f, warned in context["steps"] for c in warned}
    context["cautions"] = [c for c in foot_cautions(lot, station) if c.text not in shown]
    status = 400 if (bound or reading_form) else 200
    return render(request, "desk/lot.html", context, status=status)


def _visible(h: Happening, sales: bool) -> dict[str, Any]:
    """A step's details without buyer and price, for roles that do not see sales."""
    if h.kind != "sell" or sales:
        return dict(h.details)
    return {k: v for k, v in h.details.items() if k == "mass_kg"}


def _way(request: HttpRequest, lot: Lot, station: Station) -> list[dict[str, Any]]:
    """Steps and readings in order of time, with what whoever asks may mend of them."""
    sales, all_mine = may_here(request, "lots.sales"), may_here(request, "journal.undo", write=True)
    last = own_last(request.user)
    zone = station.place.site().zone
    rows: list[dict[str, Any]] = [
        {"row": h, "what": PAST[h.kind], "details": _details(_visible(h, sales))}
        for h in lot.happenings.select_related("by")
    ]
    for r in lot.readings.select_related("by"):
        temp = f", {r.bean_temp_c:g} C" if r.bean_temp_c is not None else ""
        text = f"{r.moisture_wb * 100:.1f} % wb ({r.method}{temp})"
        rows.append({"row": r, "what": _("moisture read"), "details": text})
    for row in rows:
        row["at"] = row["row"].happened_at.astimezone(zone)
        row["mendable"] = all_mine or (last is not None and last.pk == row["row"].entry_id)
    return sorted(rows, key=lambda row: (row["at"], row["row"].entry_id))


_UNITS = {
    "floaters_kg": "kg floaters", "mass_kg": "kg", "load_kg_m2": "kg/m2", "green_kg": "kg green",
    "husk_kg": "kg husk", "rejects_kg": "kg rejects", "moisture_percent": "% wb", "ph": "pH",
    "tank_c": "C", "air_c": "C", "rh_percent": "% RH", "sample_g": "g", "bags_in_lot": "bags in the lot",
    "bags_opened": "bags opened",
    "kept_back_g": "g kept back", "price_per_kg": "per kg",
}  # fmt: skip


def _details(details: dict[str, Any]) -> str:
    parts = [
        f"{number(v, 0 if v == int(v) else 1 if k != 'ph' else 2)} {_UNITS[k]}" if k in _UNITS else str(v)
        for k, v in details.items() if v is not True
    ]  # fmt: skip
    if details.get("wet"):
        parts.append("said to be wet")
    return ", ".join(parts)


@require_http_methods(["GET", "HEAD", "POST"])
@answered
def step(request: HttpRequest, code: str) -> HttpResponse:
    """Record a step that can follow; loaded anew after a refusal, it is the lot's page."""
    if request.method != "POST":
        return redirect("lot", code=code)
    lot, station = get_object_or_404(Lot, code=code), need_station()
    kind = request.POST.get("kind", "")
    if kind not in STEPS:
        raise InputError(f"'{kind}' is not a step.", code)
    if not may_take(request, kind):
        raise NotAllowedError(_("Your role does not record this step. Ask the owner."))
    if kind not in [s.kind for s in next_steps(lot)]:
        words = _("Not recorded: the lot is %(stage)s already. Someone else may have been quicker.")
        messages.error(request, words % {"stage": lot.get_stage_display()})
        return redirect("lot", code=code)
    form = StepForm(
        step_asks(kind, lot, station), station, request.POST, auto_id=f"id_{kind}_%s",
        yard=yard_of(station, without=lot), hours=hours_words(kind, lot, station),
    )  # fmt: skip
    if form.is_valid():
        try:
            key, at = form.cleaned_data["key"], form.stated()
            taken = take_step(lot, kind, key, at, who(request), form.details(), station)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            told(request, _("Recorded: %s.") % PAST[kind], taken.happening.entry_id)
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
    if lot.stage not in READABLE:
        raise InputError(
            f"is {lot.get_stage_display()}, so it is not spread yet, or gone; "
            "a reading belongs to a drying or stored lot.",
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
