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

from drydown.books.lots.gate import cherry_kg
from drydown.books.lots.habits import habits_of, lot_form, target_wb
from drydown.books.models import Descent, Lot
from drydown.matter.balance import ROUTES, route_balance
from drydown.matter.report import BalanceReport, report_balance
from drydown.matter.species import species
from drydown.outlook.case import DryingCase
from drydown.outlook.forecast import DryingForecast, forecast
from drydown.outlook.reasons import reasons
from drydown.station.model import Station
from drydown.station.weather import station_weather

__all__ = [
    "case_key",
    "hours_above_window",
    "lot_balance",
    "lot_case",
    "lot_forecast",
    "spread_m2",
]

Kept = TypeVar("Kept")
MEMBERS = 80
VERSION = "6"


def lot_balance(lot: Lot, station: Station) -> BalanceReport:
    """Mass balance of all the fruit the lot received; measured float replaces the assumed."""
    target = target_wb(lot, station)
    practice = station.practice()
    fruit = cherry_kg(lot)
    floated = lot.happenings.filter(kind="float", undone=False).first()
    if floated and fruit > 0 and floated.details.get("floaters_kg") is not None:
        share = round(min(float(floated.details["floaters_kg"]) / fruit, 0.9), 4)
        practice = practice.stated(float_share=share)
    return report_balance(species(lot.species), practice, lot.route, fruit, target)


def hours_above_window(lot: Lot, until: datetime | None = None) -> float:
    """Hours before the last reading that count as inside the mould window.

    From a day after spreading, every stretch between readings counts unless both its ends
    are at or below 14 % wb: the wet side is counted, because nothing drier was seen. A lot that
    came of others begins with the most hours any of them had.
    """
    born = list(lot.parents.filter(undone=False).select_related("parent", "entry"))
    begun, was_dry = _carried_reading(lot, born)
    total = max((hours_above_window(edge.parent, edge.entry.happened_at) for edge in born), default=0.0)
    if lot.spread_at is None:
        return total
    since = max(filter(None, (lot.spread_at + timedelta(hours=24), begun)))
    for reading in lot.readings.filter(undone=False).order_by("happened_at", "entry_id"):
        if until is not None and reading.happened_at > until:
            break
        dry = reading.moisture_wb <= 0.14
        if not (was_dry and dry):
            total += max(0.0, (reading.happened_at - since) / timedelta(hours=1))
        since, was_dry = max(since, reading.happened_at), dry
    return total


def _carried_reading(lot: Lot, born: list[Descent]) -> tuple[datetime | None, bool]:
    """When a lot that came of others was last read before, and whether it was dry then."""
    if not born:
        return None, False
    told = born[0].entry.facts["children"]
    state = next(c["state"] for c in told if c["code"] == lot.code)
    if state["known_at"] is None:
        return None, False
    return datetime.fromisoformat(state["known_at"]), state["known_wb"] <= 0.14


def spread_m2(lot: Lot, station: Station, dry_g: int, load_kg_m2: float) -> float:
    """Area that a lot's dry matter takes at a load, which counts kilograms as first spread, m2.

    As spread: by the typical balance of its route.
    """
    route = lot.route if lot.route in ROUTES else "washed"
    made = route_balance(species(lot.species).typical(), station.practice().typical(), route, 1000.0, 0.11)
    wet = next(stage for stage in made.stages if stage.name == "dry").inputs["wet"]
    return dry_g / 1000.0 * float(np.asarray(wet.mass / wet.dm)) / load_kg_m2


def lot_case(lot: Lot, station: Station) -> DryingCase | None:
    """The drying case of a lot, from its last reading or from spreading; None if not drying."""
    form = lot_form(lot)
    habits, found = habits_of(lot, station), station.drying_places().get(lot.bed)
    if lot.spread_at is None or lot.load_kg_m2 is None or habits is None or found is None:
        return None
    start: datetime = lot.known_at or lot.spread_at
    begin = start + timedelta(minutes=59, seconds=59)  # whole hours, never before the reading
    local = begin.astimezone(station.place.site().zone).replace(minute=0, second=0, microsecond=0)
    return DryingCase(
        lot.species,
        form,
        found[0].name,
        lot.load_kg_m2,
        habits.target_wb,
        local,
        habits.routine(),
        lot.known_wb,
        spot=found[0],
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
