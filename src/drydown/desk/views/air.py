"""The air as it was and as it is told to come: a logger's file, a forecast, what a day was."""

from __future__ import annotations

import tempfile
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.db.models import Max, Min
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from drydown.books.lots.air import days_said, read_air
from drydown.books.lots.airhours import own_skill, take_in_file, take_in_told
from drydown.books.models import AirHour, Channel, Entry, Lot
from drydown.desk.context import need_station
from drydown.desk.fetching import fetched
from drydown.desk.listening import state
from drydown.desk.people import guarded, who
from drydown.desk.people import told as say_told
from drydown.desk.views.forms import AirForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.outlook.skies import DAY_SOURCE, DAY_WORDS
from drydown.station.model import Station
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["air", "air_reading", "ask_forecast", "place_channel"]

MOST_BYTES = 5_000_000
SHOWN_DAYS = 14


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("lots.way")
def air(request: HttpRequest) -> HttpResponse:
    """What is known of the station's air, and where a file of it is taken in."""
    station = need_station()
    if request.method == "POST":
        _take(request, station.place.site())
        return redirect("air")
    said, today = days_said(), timezone.now().astimezone(station.place.site().zone).date()
    days = [today - timedelta(days=d) for d in range(SHOWN_DAYS)]
    skill = own_skill(station.place.site(), station.normals())
    context = {
        "channels": _channels(station), "state": state(),
        "seen": _span("seen"), "ahead": _span("ahead"), "skill": skill.figure(),
        "url": station.weather.forecast_url, "key": uuid.uuid4(), "reads": _reads(),
        "days": [(d, said.get(d, ""), uuid.uuid4()) for d in days], "words": DAY_WORDS, "source": DAY_SOURCE,
    }  # fmt: skip
    return render(request, "desk/air.html", context)


def _channels(station: Station) -> list[dict[str, Any]]:
    """Channels that loggers send on, with the places each can stand at."""
    lots = list(Lot.objects.filter(stage=Stage.DRYING).order_by("code").values_list("code", flat=True))
    tanks = [t.name for t in station.equipment.tanks]
    stores = [t.name for t in station.equipment.stores]
    can = {"tank_c": tanks, "tray_g": lots, "bean_c": lots, "air_c": stores, "air_rh": stores}
    now = timezone.now()
    return [
        {
            "row": c, "can": can.get(c.quantity, []), "last": c.measures.order_by("-at").first(),
            "gaps": c.gaps.filter(seen_at__gt=now - timedelta(days=7)).count(),
        }
        for c in Channel.objects.all()
    ]  # fmt: skip


@require_POST
@answered
@guarded("lots.way")
def place_channel(request: HttpRequest) -> HttpResponse:
    """Say where a channel stands: a tank, or a lot's tray; outdoors where nothing is said."""
    station = need_station()
    pk = request.POST.get("channel", "")
    row = next((c for c in _channels(station) if str(c["row"].pk) == pk), None)
    if row is None:
        raise InputError("is not known.", "the channel")
    place = request.POST.get("place", "")
    if place and place not in row["can"]:
        raise InputError(
            say("a {q} does not stand at {p}.", q=row["row"].quantity, p=place[:80]), row["row"].device
        )
    Channel.objects.filter(pk=row["row"].pk).update(place=place)
    messages.success(request, _("Kept: where %s stands.") % row["row"].device)
    return redirect("air")


def _span(kind: str) -> dict[str, Any]:
    rows = AirHour.objects.filter(kind=kind)
    if kind == "ahead":
        rows = rows.filter(at__gt=timezone.now())
    found: dict[str, Any] = rows.aggregate(first=Min("at"), last=Max("at"), issued=Max("issued_at"))
    return found | {"hours": rows.count()}


def _reads() -> list[Entry]:
    """The latest readings of the air by hand."""
    return list(Entry.objects.filter(kind="airread", reversed_by=None).order_by("-happened_at")[:6])


@require_POST
@answered
@guarded("lots.way")
def air_reading(request: HttpRequest) -> HttpResponse:
    """Keep a reading of the outdoor air by hand."""
    form = AirForm(request.POST)
    if not form.is_valid():
        field, problems = next(iter(form.errors.items()))
        raise InputError(
            str(problems[0]), str(form.fields[field].label) if field in form.fields else "the air"
        )
    told = form.cleaned_data
    entry = read_air(told["at"], told["temp_c"], told["rh_percent"], told["key"], who(request))
    say_told(
        request,
        _("Recorded: %(c)s C, %(rh)s %%.") % {"c": told["temp_c"], "rh": told["rh_percent"]},
        entry.pk,
    )
    return redirect("air")


def _take(request: HttpRequest, site: Any) -> None:
    """Take in an uploaded file: a logger's table, or a forecast as JSON or as a table."""
    upload = request.FILES.get("file")
    if upload is None or upload.size is None:
        raise InputError("no file was chosen.", "air")
    if upload.size > MOST_BYTES:
        raise InputError(say("is larger than {mb} MB.", mb=MOST_BYTES // 1_000_000), str(upload.name))
    content, name = upload.read(), str(upload.name or "file")
    if name.lower().endswith(".json") or request.POST.get("what") == "ahead":
        hours = take_in_told(content.decode("utf-8", errors="replace"), site, name)
        messages.success(request, _("Taken in: a forecast of %d hours.") % hours)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logger.csv"
        path.write_bytes(content)
        hours, odd = take_in_file(path, site, name)
    messages.success(request, _("Taken in: %d measured hours.") % hours)
    for words in odd[:6]:
        messages.warning(request, words)


@require_POST
@answered
@guarded("lots.way")
def ask_forecast(request: HttpRequest) -> HttpResponse:
    """Ask the address of the station file for its forecast."""
    station = need_station()
    address = station.weather.forecast_url
    if address is None:
        raise InputError("names no forecast.", "the station file", "Write forecast_url under [weather].")
    hours = take_in_told(
        fetched(address), station.place.site(), address[:120], dict(station.weather.forecast_names)
    )
    messages.success(request, _("Taken in: a forecast of %d hours.") % hours)
    return redirect("air")
