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

from drydown.books.access import NotAllowedError
from drydown.books.bookview import book_view
from drydown.books.flow import PAST, STEPS, Step, next_steps
from drydown.books.gate import cherry_kg
from drydown.books.habits import habits_of, lot_form
from drydown.books.handling import night_words
from drydown.books.kin import ancestors, descendants
from drydown.books.lotview import (
    case_key,
    hours_above_window,
    lot_balance,
    lot_case,
    lot_forecast,
    lot_reasons,
    spread_m2,
)
from drydown.books.models import Happening, Lot
from drydown.books.steps import READABLE, lot_matter, record_reading, take_step
from drydown.desk.chart import Dot, curve_rows, curve_svg, curve_words
from drydown.desk.context import need_station
from drydown.desk.people import guarded, may_here, who
from drydown.desk.views.forms import ReadingForm, StepForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.figures import Figure
from drydown.matter.sorption import fit_note
from drydown.outlook.dryfigures import CAPS_C
from drydown.outlook.forecast import DryingForecast
from drydown.outlook.rules import cautions, check_rules, window_state
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
    steps = [s for s in next_steps(lot) if may_take(request, s.kind)]
    deliveries = lot.deliveries.filter(undone=False).select_related("grower")
    context: dict[str, Any] = {
        "lot": lot,
        "fruit_g": round(cherry_kg(lot) * 1000),
        "steps": [
            (s, _step_form(s, lot, station, bound), cautions(s.caution) if s.caution else ()) for s in steps
        ],
        "bound_form": bound[1] if bound else None,
        "bound_kind": bound[0] if bound else "",
        "reading_form": reading_form or ReadingForm(),
        "way": _way(lot, station, may_here(request, "lots.sales")),
        "deliveries": deliveries,
        "samples": lot.happenings.filter(kind="sample", undone=False),
        "money": station.money,
        "books": book_view(lot, station.money),
        "above": ancestors(lot),
        "below": descendants(lot),
        "note": fit_note(lot.species, "washed" if lot.route == "washed" else lot_form(lot)),
    }
    if context["fruit_g"]:
        context["balance"] = lot_balance(lot, station)
    context |= _drying(lot, station)
    topics = {"mould", *(s.caution for s in steps if s.caution)}
    if context.get("machine_figures"):
        topics |= {"machine", "smoke"}
    context["cautions"] = cautions(*sorted(topics))
    status = 400 if (bound or reading_form) else 200
    return render(request, "desk/lot.html", context, status=status)


def may_take(request: HttpRequest, kind: str) -> bool:
    """Whether whoever asks may record a step of this kind."""
    what = {"sell": "lots.sales", "sample": "samples.taken"}.get(kind, "lots.way")
    return may_here(request, what, write=True)


def _step_form(step: Step, lot: Lot, station: Station, bound: tuple[str, StepForm] | None) -> StepForm:
    if bound and bound[0] == step.kind:
        return bound[1]
    habits = habits_of(lot, station)
    start = {"load_kg_m2": f"{habits.load_kg_m2:g}"} if habits else {}
    return StepForm(step.asks, station, initial=start, auto_id=f"id_{step.kind}_%s")


def _drying(lot: Lot, station: Station) -> dict[str, Any]:
    """Forecast, curve and rules, where the lot is drying; rules at its last reading else."""
    last = lot.known_wb
    found: dict[str, Any] = {"last": last}
    if last:
        found["rules"] = check_rules(last, 20.0, lot_form(lot), lot.species)
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
        "quoted_cap_c": CAPS_C[case.form],
        "machine_figures": _machine_figures(lot, station, forecast),
        "nights": night_words(lot, station, timezone.now()),
        "window_words": words,
        "window_source": source,
    }


def _machine_figures(lot: Lot, station: Station, forecast: DryingForecast) -> list[tuple[str, Figure]]:
    """What a machine takes, with its label: heat, fuel for this lot, pressure of the air."""
    figures, found = forecast.figures, []
    if "fuel_kg_m2" in figures and lot.load_kg_m2:
        area = spread_m2(lot, station, lot_matter(lot).dry, lot.load_kg_m2)
        each = figures["fuel_kg_m2"]
        unit, rule = each.unit.removesuffix("/m2"), "fuel of a square metre times the area this lot takes"
        found.append((_("Fuel for this lot"), each.times(area, unit, rule, area=f"{area:.1f} m2")))
    for key, label in (
        ("heat_mj_kg", _("Heat for a kg of water")),
        ("pressure_pa", _("Pressure of the air")),
    ):
        if key in figures:
            found.append((label, figures[key]))
    return found


def _visible(h: Happening, sales: bool) -> dict[str, Any]:
    """A step's details without buyer and price, for roles that do not see sales."""
    if h.kind != "sell" or sales:
        return dict(h.details)
    return {k: v for k, v in h.details.items() if k == "mass_kg"}


def _way(lot: Lot, station: Station, sales: bool) -> list[dict[str, Any]]:
    """Steps and readings in order of time."""
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
    return sorted(rows, key=lambda row: (row["at"], row["row"].entry_id))


_UNITS = {
    "floaters_kg": "kg lights", "mass_kg": "kg", "load_kg_m2": "kg/m2", "green_kg": "kg green",
    "husk_kg": "kg husk", "rejects_kg": "kg rejects", "moisture_percent": "% wb", "ph": "pH",
    "tank_c": "C", "air_c": "C", "rh_percent": "% RH", "sample_g": "g", "bags_in_lot": "bags in the lot",
    "bags_opened": "bags opened",
    "kept_back_g": "g kept back", "price_per_kg": "per kg",
}  # fmt: skip


def _details(details: dict[str, Any]) -> str:
    parts = [f"{v:g} {_UNITS[k]}" if k in _UNITS else str(v) for k, v in details.items() if v is not True]
    return ", ".join(parts)


@require_http_methods(["POST"])
@answered
def step(request: HttpRequest, code: str) -> HttpResponse:
    """Record a step that can follow."""
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
    form = StepForm(STEPS[kind].asks, station, request.POST, auto_id=f"id_{kind}_%s")
    if form.is_valid():
        try:
            key, at = form.cleaned_data["key"], form.stated()
            taken = take_step(lot, kind, key, at, who(request), form.details(), station)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Recorded: %s.") % PAST[kind])
            for odd in taken.findings:
                messages.warning(request, f"{odd.words} [{odd.source.text}, {odd.source.status}]")
            if kind == "sample":
                return redirect("sample", number=taken.happening.entry_id)
            return redirect("lot", code=code)
    return _page(request, lot, station, bound=(kind, form))


@require_http_methods(["POST"])
@answered
@guarded("readings.moisture")
def reading(request: HttpRequest, code: str) -> HttpResponse:
    """Record a moisture reading."""
    lot, station = get_object_or_404(Lot, code=code), need_station()
    form = ReadingForm(request.POST)
    if lot.stage not in READABLE:
        raise InputError(
            f"is {lot.get_stage_display()}, so it is not spread yet, or gone; "
            "a reading belongs to a drying or stored lot.",
            code,
        )
    if form.is_valid():
        data, before = form.cleaned_data, lot.known_wb
        try:
            kept = record_reading(
                lot, data["key"], data["moisture"], data["method"], data["bean_temp"], form.stated(),
                who(request),
            )  # fmt: skip
        except InputError as error:
            form.add_error(None, str(error))
        else:
            _warn_of_rise(request, before, kept.moisture_wb)
            messages.success(request, _("Recorded: %(m)g %% wet basis.") % {"m": kept.moisture_wb * 100})
            return redirect("lot", code=code)
    return _page(request, lot, station, reading_form=form)


def _warn_of_rise(request: HttpRequest, before: float | None, now: float) -> None:
    """A lot that reads two points wetter than before was rewetted, or one reading is wrong."""
    rise = 100.0 * (now - before) if before is not None else 0.0
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
