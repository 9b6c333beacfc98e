"""What a lot's page shows of its drying; an extra that cannot be made never ends the page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any, TypeVar

from django.utils import timezone
from django.utils.translation import gettext as _

from drydown.books.lots.drying import (
    case_key,
    hours_above_window,
    lot_case,
    lot_forecast,
    lot_reasons,
    spread_m2,
)
from drydown.books.lots.habits import lot_form
from drydown.books.lots.nights import night_words
from drydown.books.lots.take import lot_matter
from drydown.books.lots.watch import wet_hours_so_far
from drydown.books.models import Lot
from drydown.desk.chart import curve_rows, curve_words
from drydown.errors import DrydownError
from drydown.figures import Band, Figure
from drydown.outlook.dryfigures import CAPS_C
from drydown.outlook.forecast import DryingForecast
from drydown.outlook.rules import check_rules, window_state
from drydown.station.model import Station

__all__ = ["drying_context", "or_none"]


Made = TypeVar("Made")


def or_none(make: Callable[[], Made]) -> Made | None:
    """An extra of the page; where it cannot be made the page goes on without it."""
    try:
        return make()
    except DrydownError:
        return None


def drying_context(lot: Lot, station: Station) -> dict[str, Any]:
    """Forecast, curve and rules, where the lot is drying; rules at its last reading else."""
    last = lot.known_wb
    found: dict[str, Any] = {"last": last}
    if last:
        form = lot_form(lot)
        found["rules"] = or_none(lambda: check_rules(last, station.store_c(lot.store), form, lot.species))
    if lot.stage != Lot.Stage.DRYING:
        return found
    case = lot_case(lot, station)
    if case is None:
        trouble = _("No forecast: its drying place or its drying table is not in the station file.")
        return found | {"trouble": trouble}
    try:
        forecast = lot_forecast(case, station)
    except DrydownError as error:
        words = _("No forecast: %s") % error
        return found | {"trouble": words, "window": _window_so_far(lot)}
    wet_h = hours_above_window(lot)
    figure = forecast.figures["mould_window_h"]
    wet = forecast.figures["very_wet_h"].value
    words, source = window_state(
        wet_h + figure.value, wet_h + figure.high, wet, forecast.undried, case.target_wb
    )
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
        "window": _whole_window(figure, wet_h, wet_hours_so_far(lot, timezone.now())),
        "reasons": or_none(lambda: lot_reasons(case, station)),
        "quoted_cap_c": CAPS_C[case.form],
        "machine_figures": _machine_figures(lot, station, forecast),
        "nights": night_words(lot, station, timezone.now()),
        "window_words": words,
        "window_source": source,
    }


def _whole_window(ahead: Figure, before_h: float, so_far_h: float) -> Figure:
    """Hours in the mould window in all: those before the last reading, and those forecast from it on.

    Never fewer than have passed until now while nothing dry was read.
    """
    middle, low, high = (max(so_far_h, before_h + v) for v in (ahead.value, ahead.low, ahead.high))
    return Figure(
        middle, "h", low, high, ahead.band,
        "the larger of the hours so far and: hours before the last reading, counted from a day after "
        "spreading while nothing at or below 14 % wb was read, plus the forecast from there on; "
        f"{ahead.rule}",
        {
            "so far": f"{so_far_h:.0f} h", "before the last reading": f"{before_h:.0f} h",
            "from there on": f"{ahead.value:.0f} h",
            **ahead.inputs,
        },
        ahead.sources,
    )  # fmt: skip


def _window_so_far(lot: Lot) -> Figure:
    """Hours until now, where no forecast can be made."""
    hours = wet_hours_so_far(lot, timezone.now())
    rule = "hours until now since a day after spreading, while nothing at or below 14 % wb was read"
    return Figure(hours, "h", hours, hours, Band.EXACT, rule)


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
