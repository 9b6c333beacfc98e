"""The station file as pages need it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from drydown.errors import InputError
from drydown.station.load import load_station
from drydown.station.model import Station

__all__ = ["find_station", "need_station", "station"]

_kept: dict[tuple[str, int], Station] = {}


def find_station() -> Station | None:
    """The station described in the data folder; None before set-up. Read again when changed."""
    file = settings.STATION_FILE
    try:
        stamp = (str(file), file.stat().st_mtime_ns)
    except FileNotFoundError:
        return None
    if stamp not in _kept:
        _kept.clear()
        _kept[stamp] = load_station(file)
    return _kept[stamp]


def need_station() -> Station:
    """The station, or an error that says to set it up."""
    found = find_station()
    if found is None:
        raise InputError("is not described yet.", "the station", "Open the Station page first.")
    return found


def station(_request: HttpRequest) -> dict[str, Any]:
    """Station name and whether this is the demo, for every page."""
    try:
        found = find_station()
    except InputError:
        found = None
    return {"here": found, "is_demo": settings.DEMO}
