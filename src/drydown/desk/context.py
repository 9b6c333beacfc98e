"""The station file as pages need it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from drydown.books.models import Entry
from drydown.books.moments import local_text
from drydown.errors import InputError
from drydown.station.load import load_station
from drydown.station.model import Station

__all__ = ["clock_words", "find_station", "need_station", "station"]

BACK, FORWARD = timedelta(minutes=5), timedelta(days=200)
"""How far the clock may stand before or after the last entry before it is asked about (own choice)."""
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
    return {"here": found, "is_demo": settings.DEMO, "clock_words": clock_words(timezone.now())}


def clock_words(now: datetime) -> str:
    """What is odd about this machine's clock against the last entry; empty where nothing is."""
    last = Entry.objects.order_by("-number").values_list("received_at", flat=True).first()
    if last is None or settings.DEMO:
        return ""
    if now < last - BACK:
        words = _("This machine's clock stands at %(now)s, before the last entry of %(last)s: set it.")
    elif now > last + FORWARD:
        words = _(
            "This machine's clock stands at %(now)s, far after the last entry of %(last)s: is it right?"
        )
    else:
        return ""
    return words % {"now": local_text(now), "last": local_text(last)}
