"""A lot's page: its way, its balance, its drying curve, and what can be done next."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.flow import PAST, STEPS, next_steps
from drydown.books.lotview import (
    case_key,
    hours_above_window,
    lot_balance,
    lot_case,
    lot_forecast,
    lot_form,
    lot_reasons,
)
from drydown.books.models import Lot
from drydown.books.services import cherry_kg, record_reading, take_step
from drydown.desk.chart import Dot, curve_rows, curve_svg, curve_words
from drydown.desk.context import need_station
from drydown.desk.views.forms import ReadingForm, StepForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.matter.sorption import fit_note
from drydown.outlook.rules import cautions, check_rules, window_state
from drydown.station.model import Station

__all__ = ["curve", "lot_page", "reading", "step"]


@require_safe
@answered
def lot_page(request: HttpRequest, code: str) -> HttpResponse:
    """Everything about one lot."""
    return _page(request, get_object_or_404(Lot, code=code), need_station())


def _page(
    request: HttpRequest,
    lot: Lot,
    station: Station,
    step_form: StepForm | None = None,
    reading_form: ReadingForm | None = None,
) -> HttpResponse:
    steps = next_steps(lot)
    habits = station.drying.get(lot_form(lot))  # type: ignore[call-overload]
    asks = steps[0].asks if steps else ()
    start = {"load_kg_m2": f"{habits.load_kg_m2:g}"} if habits else {}
    context: dict[str, Any] = {
        "lot": lot,
        "fruit_g": round(cherry_kg(lot) * 1000),
        "steps": steps,
        "step_form": step_form or StepForm(asks, station, initial=start),
        "reading_form": reading_form or ReadingForm(),
        "way": _way(lot, station),
        "deliveries": lot.deliveries.select_related("grower"),
        "money": station.money,
        "note": fit_note(lot.species, "washed" if lot.route == "washed" else lot_form(lot)),
    }
    if context["fruit_g"]:
        context["balance"] = lot_balance(lot, station)
    context |= _drying(lot, station)
    topics = {"mould", *(s.caution for s in steps if s.caution)}
    context["cautions"] = cautions(*sorted(topics))
    status = 400 if (step_form or reading_form) else 200
    return render(request, "desk/lot.html", context, status=status)


def _drying(lot: Lot, station: Station) -> dict[str, Any]:
    """Forecast, curve and rules, where the lot is drying; rules at its last reading else."""
    last = lot.readings.order_by("-happened_at", "-id").first()
    found: dict[str, Any] = {"last": last}
    if last:
        found["rules"] = check_rules(last.moisture_wb, 20.0, lot_form(lot), lot.species)
    if lot.stage != Lot.Stage.DRYING:
        return found
    case = lot_case(lot, station)
    if case is None:
        trouble = _("No forecast: its drying place or its drying table is not in the station file.")
        return found | {"trouble": trouble}
    try:
        forecast = lot_forecast(case, station)
    except InputError as error:
        return found | {"trouble": str(error)}
    wet_h = hours_above_window(lot)
    figure = forecast.figures["mould_window_h"]
    wet = forecast.figures["very_wet_h"].value
    words, source = window_state(wet_h + figure.value, wet_h + figure.high, wet, forecast.undried)
    middle = forecast.dry_on()[1]
    return found | {
        "forecast": forecast,
        "dry_on": forecast.dry_on(),
        "passed": middle is not None and middle < timezone.now() - timedelta(hours=3),
        "at_target": case.moisture_wb_now is not None and case.moisture_wb_now <= case.target_wb,
        "curve_words": curve_words(forecast),
        "curve_rows": curve_rows(forecast),
        "curve_key": case_key(case, station)[-12:],
        "wet_h": wet_h,
        "reasons": lot_reasons(case, station),
        "window_words": words,
        "window_source": source,
    }


def _way(lot: Lot, station: Station) -> list[dict[str, Any]]:
    """Steps and readings in order of time."""
    zone = station.place.site().zone
    rows: list[dict[str, Any]] = [
        {"at": h.happened_at, "what": PAST[h.kind], "details": _details(h.details), "by": h.by}
        for h in lot.happenings.select_related("by")
    ]
    for r in lot.readings.select_related("by"):
        temp = f", {r.bean_temp_c:g} C" if r.bean_temp_c is not None else ""
        text = f"{r.moisture_wb * 100:.1f} % wb ({r.method}{temp})"
        rows.append({"at": r.happened_at, "what": _("moisture read"), "details": text, "by": r.by})
    for row in rows:
        row["at"] = row["at"].astimezone(zone)
    return sorted(rows, key=lambda row: row["at"])


def _details(details: dict[str, Any]) -> str:
    names = {"floaters_kg": "kg lights", "mass_kg": "kg", "load_kg_m2": "kg/m2"}
    parts = [f"{v:g} {names[k]}" if k in names else str(v) for k, v in details.items()]
    return ", ".join(parts)


@require_http_methods(["POST"])
@answered
def step(request: HttpRequest, code: str) -> HttpResponse:
    """Record the next step."""
    lot, station = get_object_or_404(Lot, code=code), need_station()
    kind = request.POST.get("kind", "")
    if kind not in STEPS:
        raise InputError(f"'{kind}' is not a step.", code)
    if kind not in [s.kind for s in next_steps(lot)]:
        words = _("Not recorded: the lot is %(stage)s already. Someone else may have been quicker.")
        messages.error(request, words % {"stage": lot.get_stage_display()})
        return redirect("lot", code=code)
    asks = STEPS[kind].asks
    form = StepForm(asks, station, request.POST)
    if form.is_valid():
        try:
            user: Any = request.user
            take_step(lot, kind, form.cleaned_data["key"], form.moment(), user, form.details(asks))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Recorded: %s.") % PAST[kind])
            return redirect("lot", code=code)
    return _page(request, lot, station, step_form=form)


@require_http_methods(["POST"])
@answered
def reading(request: HttpRequest, code: str) -> HttpResponse:
    """Record a moisture reading."""
    lot, station = get_object_or_404(Lot, code=code), need_station()
    form = ReadingForm(request.POST)
    if lot.stage != Lot.Stage.DRYING:
        raise InputError(
            f"is {lot.get_stage_display()}, so it is not spread yet, or done; "
            "a reading belongs to a drying lot.",
            code,
        )
    if form.is_valid():
        data = form.cleaned_data
        try:
            user: Any = request.user
            kept = record_reading(
                lot, data["key"], data["moisture"], data["method"], data["bean_temp"],
                form.moment(), user,
            )  # fmt: skip
        except InputError as error:
            form.add_error(None, str(error))
        else:
            _warn_of_rise(request, lot)
            messages.success(request, _("Recorded: %(m)g %% wet basis.") % {"m": kept.moisture_wb * 100})
            return redirect("lot", code=code)
    return _page(request, lot, station, reading_form=form)


def _warn_of_rise(request: HttpRequest, lot: Lot) -> None:
    """A lot that reads two points wetter than before was rewetted, or one reading is wrong."""
    two = list(lot.readings.order_by("-happened_at", "-id")[:2])
    rise = 100.0 * (two[0].moisture_wb - two[1].moisture_wb) if len(two) == 2 else 0.0
    if rise > 2.0:
        words = _("%(rise).1f points wetter than the reading before: was it rewetted? %(caution)s")
        messages.warning(request, words % {"rise": rise, "caution": cautions("mould")[0].text})


@require_safe
@answered
def curve(request: HttpRequest, code: str) -> HttpResponse:  # noqa: ARG001
    """The drying curve as a picture."""
    lot, station = get_object_or_404(Lot, code=code), need_station()
    case = lot_case(lot, station)
    if case is None:
        raise InputError("is not drying; there is no curve.", code)
    zone = station.place.site().zone
    dots: list[Dot] = [(r.happened_at.astimezone(zone), r.moisture_wb) for r in lot.readings.all()]
    svg = curve_svg(lot_forecast(case, station), dots, case_key(case, station))
    response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response
