"""A lot as the model sees it: its balance and its forecast, from the records and the station."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

import numpy as np
from django.conf import settings
from django.core.cache import cache

from drydown.books.models import Lot
from drydown.books.services import cherry_kg
from drydown.matter.balance import route_balance
from drydown.matter.report import BalanceReport, report_balance
from drydown.matter.species import species
from drydown.outlook.case import DryingCase
from drydown.outlook.forecast import DryingForecast, forecast
from drydown.outlook.reasons import reasons
from drydown.station.model import Station
from drydown.station.weather import station_weather
from drydown.steps.dry.data import FORM_OF_ROUTE

__all__ = [
    "case_key",
    "hours_above_window",
    "lot_balance",
    "lot_case",
    "lot_forecast",
    "lot_form",
    "spread_kg",
]

Kept = TypeVar("Kept")
MEMBERS = 80
VERSION = "5"


def lot_form(lot: Lot) -> str:
    """What lies on the bed for the lot's route."""
    return FORM_OF_ROUTE[lot.route]


def lot_balance(lot: Lot, station: Station) -> BalanceReport:
    """Mass balance of all the fruit the lot received; measured float replaces the assumed."""
    habits = station.drying.get(lot_form(lot))  # type: ignore[call-overload]
    target = habits.target_wb if habits else 0.11
    practice = station.practice()
    fruit = cherry_kg(lot)
    floated = lot.happenings.filter(kind="float").first()
    if floated and fruit > 0 and floated.details.get("floaters_kg") is not None:
        share = round(min(float(floated.details["floaters_kg"]) / fruit, 0.9), 4)
        practice = practice.stated(float_share=share)
    return report_balance(species(lot.species), practice, lot.route, fruit, target)


def hours_above_window(lot: Lot) -> float:
    """Hours before the last reading that count as inside the mould window.

    From a day after spreading, every stretch between readings counts unless both its ends
    are at or below 14 % wb: the wet side is counted, because nothing drier was seen.
    """
    if lot.spread_at is None:
        return 0.0
    total, since, was_dry = 0.0, lot.spread_at + timedelta(hours=24), False
    for reading in lot.readings.order_by("happened_at", "id"):
        dry = reading.moisture_wb <= 0.14
        if not (was_dry and dry):
            total += max(0.0, (reading.happened_at - since) / timedelta(hours=1))
        since, was_dry = max(since, reading.happened_at), dry
    return total


def spread_kg(lot: Lot, station: Station, fruit_kg: float) -> float:
    """Mass that reaches the bed from a mass of fruit, by the typical balance, kg."""
    made = route_balance(
        species(lot.species).typical(), station.practice().typical(), lot.route, fruit_kg, 0.11
    )
    wet = next(stage for stage in made.stages if stage.name == "dry").inputs["wet"]
    return float(np.asarray(wet.mass))


def lot_case(lot: Lot, station: Station) -> DryingCase | None:
    """The drying case of a lot, from its last reading or from spreading; None if not drying."""
    form = lot_form(lot)
    habits = station.drying.get(form)  # type: ignore[call-overload]
    bed = station.bed(lot.bed)
    if lot.spread_at is None or lot.load_kg_m2 is None or habits is None or bed is None:
        return None
    last = lot.readings.order_by("-happened_at", "-id").first()
    start: datetime = last.happened_at if last else lot.spread_at
    begin = start + timedelta(minutes=59, seconds=59)  # whole hours, never before the reading
    local = begin.astimezone(station.place.site().zone).replace(minute=0, second=0, microsecond=0)
    now = last.moisture_wb if last else None
    return DryingCase(
        lot.species, form, bed.place, lot.load_kg_m2, habits.target_wb, local, habits.routine(), now
    )


def case_key(case: DryingCase, station: Station) -> str:
    """Hash of everything a forecast depends on: the case, the site, the weather's content."""
    text = f"{VERSION}|{MEMBERS}|{case}|{_site(station)}|{station.weather.months}|{_file_stamp(station)}"
    return "forecast-" + hashlib.sha256(text.encode()).hexdigest()


def _site(station: Station) -> tuple[float, float, float, float]:
    p = station.place
    return p.latitude_deg, p.longitude_deg, p.elevation_m, p.utc_offset_h


def _folder() -> Path:
    return Path(settings.STATION_FILE).parent


def _file_stamp(station: Station) -> str:
    """Size and time of the weather file, where forecasts use one."""
    if station.weather.months is not None or station.weather.file is None:
        return ""
    try:
        found = (_folder() / station.weather.file).stat()
    except OSError:
        return "missing"
    return f"{station.weather.file}|{found.st_size}|{found.st_mtime_ns}"


def lot_forecast(case: DryingCase, station: Station) -> DryingForecast:
    """Forecast of a case, kept by the hash of its inputs."""
    site = station.place.site()
    return _kept(
        case_key(case, station),
        DryingForecast,
        lambda: forecast(case, site, station_weather(station, _folder()), MEMBERS, seed=1),
    )


def lot_reasons(case: DryingCase, station: Station) -> tuple[str, ...]:
    """What another handling would change, kept by the hash of the inputs."""
    site = station.place.site()
    return _kept(
        case_key(case, station).replace("forecast", "reasons"),
        tuple,
        lambda: reasons(case, site, station_weather(station, _folder())),
    )


def _kept(key: str, kind: type[Kept], make: Callable[[], Kept]) -> Kept:
    """What the cache holds under a key, if it is of the kind; else made and kept."""
    found = cache.get(key)
    if isinstance(found, kind):
        return found
    made = make()
    cache.set(key, made, None)
    return made
