"""A lot as the model sees it: its balance and its forecast, from the records and the station."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from django.conf import settings
from django.core.cache import cache

from drydown.books.lots.states import cherry_kg, shape_of
from drydown.books.models import Lot
from drydown.fingerprint import MODEL, fingerprint, fingerprint_of_file
from drydown.matter.report import BalanceReport, report_balance
from drydown.matter.species import species
from drydown.outlook.case import DryingCase
from drydown.outlook.forecast import DryingForecast, forecast
from drydown.outlook.reasons import reasons
from drydown.station.model import Station
from drydown.station.weather import station_weather
from drydown.way.dry import drying_case
from drydown.way.habits import target_wb
from drydown.way.state import Read

__all__ = [
    "case_key",
    "earlier_forecasts",
    "kept_forecast",
    "lot_balance",
    "lot_case",
    "lot_forecast",
    "lot_reasons",
]

Kept = TypeVar("Kept")
MEMBERS = 80


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


def lot_case(lot: Lot, station: Station) -> DryingCase | None:
    """The drying case of a lot, from its last reading or from spreading; None if not drying."""
    return drying_case(shape_of(lot), station)


def case_key(case: DryingCase, station: Station) -> str:
    """Hash of everything a forecast depends on: the code, the case, the site, the weather's content."""
    parts = (fingerprint(*MODEL), MEMBERS, case, _site(station), station.weather.months, _file_stamp(station))
    text = "|".join(map(str, parts))
    return "forecast-" + hashlib.sha256(text.encode()).hexdigest()


def _site(station: Station) -> tuple[float, float, float, float]:
    p = station.place
    return p.latitude_deg, p.longitude_deg, p.elevation_m, p.utc_offset_h


def _folder() -> Path:
    return Path(settings.STATION_FILE).parent


def _file_stamp(station: Station) -> str:
    """A hash of the weather file, where forecasts use one."""
    if station.weather.months is not None or station.weather.file is None:
        return ""
    try:
        return fingerprint_of_file(_folder() / station.weather.file)
    except OSError:
        return "missing"


def lot_forecast(case: DryingCase, station: Station) -> DryingForecast:
    """Forecast of a case, kept by the hash of its inputs."""
    site = station.place.site()
    return _kept(
        case_key(case, station),
        DryingForecast,
        lambda: forecast(case, site, station_weather(station, _folder()), MEMBERS, seed=1),
    )


def kept_forecast(case: DryingCase, station: Station) -> DryingForecast | None:
    """The forecast of a case where it is kept already; nothing is reckoned."""
    found = cache.get(case_key(case, station))
    return found if isinstance(found, DryingForecast) else None


def earlier_forecasts(lot: Lot, station: Station, most: int = 4) -> list[DryingForecast]:
    """What this model says from spreading and from each reading before the last, the oldest first.

    Args: lot; station; most, how many at most, the latest of them. Returns: forecasts, kept like others.
    """
    if lot.spread_at is None:
        return []
    shape, since = shape_of(lot), lot.spread_at
    rows = lot.readings.filter(undone=False, happened_at__gte=since).order_by("happened_at", "entry_id")
    reads: list[tuple[Read, ...]] = [(Read(r.moisture_wb, r.happened_at, r.method),) for r in rows]
    cases = [drying_case(replace(shape, reads=told), station) for told in [(), *reads][:-1][-most:]]
    return [lot_forecast(case, station) for case in cases if case is not None]


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
