"""A lot as the model sees it: its balance and its forecast, from the records and the station."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import TypeVar

from django.core.cache import cache

from drydown.books.lots.air import file_stamp, folder
from drydown.books.lots.states import cherry_kg
from drydown.books.models import Lot
from drydown.fingerprint import MODEL, fingerprint
from drydown.matter.report import BalanceReport, report_balance
from drydown.matter.species import species
from drydown.outlook.case import DryingCase
from drydown.outlook.forecast import DryingForecast, forecast
from drydown.outlook.reasons import reasons
from drydown.station.model import Station
from drydown.station.weather import station_weather
from drydown.way.habits import target_wb

__all__ = [
    "case_key",
    "kept_forecast",
    "lot_balance",
    "lot_forecast",
    "lot_reasons",
]

Kept = TypeVar("Kept")
MEMBERS = 80


def lot_balance(lot: Lot, station: Station) -> BalanceReport:
    """Mass balance of all the fruit the lot received; floaters and pulper loss that were measured replace the
    assumed."""
    target = target_wb(lot, station)
    practice = station.practice()
    fruit = cherry_kg(lot)
    floated = lot.happenings.filter(kind="float", undone=False).first()
    if floated and fruit > 0 and floated.details.get("floaters_kg") is not None:
        share = round(min(float(floated.details["floaters_kg"]) / fruit, 0.9), 4)
        practice = practice.stated(float_share=share)
    pulped = lot.happenings.filter(kind="pulp", undone=False).order_by("-happened_at").first()
    if pulped and pulped.details.get("in_pulp_percent") is not None:
        practice = practice.stated(pulper_loss_share=float(pulped.details["in_pulp_percent"]) / 100.0)
    return report_balance(species(lot.species), practice, lot.route, fruit, target)


def case_key(case: DryingCase, station: Station) -> str:
    """Hash of everything a forecast depends on: the code, the case, the site, the weather's content."""
    parts = (fingerprint(*MODEL), MEMBERS, case, _site(station), station.weather.months, file_stamp(station))
    text = "|".join(map(str, parts))
    return "forecast-" + hashlib.sha256(text.encode()).hexdigest()


def _site(station: Station) -> tuple[object, ...]:
    p = station.place
    return p.latitude_deg, p.longitude_deg, p.elevation_m, p.utc_offset_h, sorted(p.climate.items())


def lot_forecast(case: DryingCase, station: Station) -> DryingForecast:
    """Forecast of a case, kept by the hash of its inputs."""
    site = station.place.site()
    return _kept(
        case_key(case, station),
        DryingForecast,
        lambda: forecast(case, site, station_weather(station, folder()), MEMBERS, seed=1),
    )


def kept_forecast(case: DryingCase, station: Station) -> DryingForecast | None:
    """The forecast of a case where it is kept already; nothing is reckoned."""
    found = cache.get(case_key(case, station))
    return found if isinstance(found, DryingForecast) else None


def lot_reasons(case: DryingCase, station: Station) -> tuple[str, ...]:
    """What another handling would change, kept by the hash of the inputs."""
    site = station.place.site()
    return _kept(
        case_key(case, station).replace("forecast", "reasons"),
        tuple,
        lambda: reasons(case, site, station_weather(station, folder())),
    )


def _kept(key: str, kind: type[Kept], make: Callable[[], Kept]) -> Kept:
    """What the cache holds under a key, if it is of the kind; else made and kept."""
    found = cache.get(key)
    if isinstance(found, kind):
        return found
    made = make()
    cache.set(key, made, None)
    return made
