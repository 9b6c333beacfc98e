"""What to build, and advice for a grower."""

from __future__ import annotations

import hashlib
from datetime import date
from typing import Any

from django import forms
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from drydown.books.lots.air import folder
from drydown.desk.building import begin, key_of, look
from drydown.desk.buildpic import day_picture, front_picture
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.prints import languages, pdf, words
from drydown.desk.views.forms import Plain
from drydown.desk.views.problem import answered
from drydown.errors import DrydownError, InputError
from drydown.outlook.cautions import at_command
from drydown.season.advise import Answers, advise
from drydown.season.sheet import sheet
from drydown.station.model import Station
from drydown.station.weather import station_weather
from drydown.words import say

__all__ = ["advice", "advice_print", "build", "build_print", "build_start"]

WEEKS = (2, 45)
DAYS_A_WEEK, WORK_H = 6, (7.0, 20.0)
"""Picking days and hours of work that the page takes and says; the command asks for them."""


@require_safe
@answered
@guarded("station.description")
def build(request: HttpRequest) -> HttpResponse:
    """The search's answer, how far it is, or what it still needs."""
    station = need_station()
    work = look(station, station_weather(station, folder()))
    needed = (("[season]", station.season), ("[build]", station.build))
    missing = [key for key, value in needed if value is None]
    if not missing and work.harvest is None:
        missing = ["[crop]"]
    shown = work.shown
    context = {
        "work": work, "missing": missing, "shown": shown, "cautions": at_command("build"),
        "front": front_picture(shown["points"]) if shown else None,
        "worst": day_picture(shown["worst"]) if shown and shown["worst"] else None,
    }  # fmt: skip
    return render(request, "desk/build.html", context)


@require_POST
@answered
@guarded("station.description")
def build_start(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """Begin the search."""
    station = need_station()
    begin(station, station_weather(station, folder()))
    return redirect("build")


@require_safe
@answered
@guarded("station.description")
def build_print(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The report."""
    station = need_station()
    work = look(station, station_weather(station, folder()))
    if work.shown is None:
        raise InputError(say("is not worked out yet."), "the report")
    return HttpResponse(pdf("build", work.shown), content_type="application/pdf")


class AdviceForm(forms.Form):
    """Ten questions."""

    crop_kg = Plain(50, 2e6, "kg", label=_("ripe fruit of a season, kg"))
    species = forms.ChoiceField(label=_("species"))
    begins = forms.DateField(label=_("the harvest begins on"), widget=forms.DateInput(attrs={"type": "date"}))
    weeks = Plain(*WEEKS, "", label=_("weeks it lasts"))
    people = Plain(1, 500, "", label=_("people who work at it"))
    water_l_day = Plain(0, 1e7, "L", label=_("clean water a day, L"))
    room_m2 = Plain(1, 1e6, "m2", label=_("room for drying, m²"))
    money = Plain(0, 1e12, "", label=_("money that can be spent"))
    pulper = Plain(0, 5e4, "kg/h", label=_("a pulper that is there, kg an hour (0: none)"))
    beds = Plain(0, 1e6, "m2", label=_("drying beds that are there, m² (0: none)"))

    def __init__(self, station: Station, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["species"].choices = [(s, s) for s in station.species]  # type: ignore[attr-defined]
        self.fields["money"].label = _("money that can be spent, %(c)s") % {"c": station.money.currency}

    def answers(self) -> Answers:
        """What was said, as the model takes it; picking and hours as the page says."""
        told = self.cleaned_data
        weeks, people = (round(told[k]) for k in ("weeks", "people"))
        return Answers(
            told["crop_kg"], told["species"], told["begins"], weeks, DAYS_A_WEEK, people, *WORK_H,
            told["water_l_day"], told["room_m2"], told["money"], told["pulper"], told["beds"],
        )  # fmt: skip


def _told(station: Station, answers: Answers) -> dict[str, Any]:
    """The sheet's data, kept by all it is made of."""
    weather = station_weather(station, folder())
    key = f"advice-{key_of(station, weather)}-{hashlib.sha256(repr(answers).encode()).hexdigest()[:24]}"
    found: dict[str, Any] | None = cache.get(key)
    if found is None:
        found = sheet(advise(station, weather, answers, settings.HARVESTS))
        cache.set(key, found, 30 * 86400)
    return found


def _asked(request: HttpRequest, station: Station) -> tuple[AdviceForm, dict[str, Any] | None]:
    today = timezone.now().astimezone(station.place.site().zone).date()
    first = station.crop.begins if station.crop else date(today.year, today.month, 1)
    asked = bool(request.GET.get("crop_kg"))
    form = AdviceForm(station, request.GET if asked else None, initial={"begins": first}, label_suffix="")
    if not (asked and form.is_valid()):
        return form, None
    try:
        return form, _told(station, form.answers())
    except DrydownError as error:
        form.add_error(None, str(error))
        return form, None


@require_safe
@answered
@guarded("deliveries.money")
def advice(request: HttpRequest) -> HttpResponse:
    """Ask the ten questions and show the sheet."""
    station = need_station()
    form, told = _asked(request, station)
    context = {
        "form": form, "told": _worded(told) if told else None, "languages": languages(),
        "query": request.GET.urlencode(), "cautions": at_command("advise"),
    }  # fmt: skip
    return render(request, "desk/advice.html", context, status=400 if form.errors else 200)


def _worded(told: dict[str, Any]) -> dict[str, Any]:
    """The sheet with its words in place of their names."""
    names = words("en")

    def worded(rows: list[list[Any]]) -> list[list[Any]]:
        return [[names.get(x, x) if isinstance(x, str) else x for x in row] for row in rows]

    lists = ("told", "flow", "money", "buy", "not_possible")
    told = told | {"why_sell": names[told["why_sell"]]}
    ways = [w | {"words": names.get(w["way"], w["words"])} for w in told["ways"]]
    cautions = [names[c] for c in told["cautions"]]
    return told | {k: worded(told[k]) for k in lists} | {"ways": ways, "cautions": cautions}


@require_safe
@answered
@guarded("deliveries.money")
def advice_print(request: HttpRequest) -> HttpResponse:
    """The two pages."""
    station = need_station()
    form, told = _asked(request, station)
    if told is None:
        raise InputError(say("needs all ten answers."), "the sheet", "; ".join(map(str, form.errors)))
    language = request.GET.get("language", "en")
    if language not in languages():
        raise InputError(say("'{l}' is no language of the sheets.", l=language[:20]), "language")
    today = timezone.now().astimezone(station.place.site().zone).date()
    data = told | {"demo": settings.DEMO, "at": today.isoformat()}
    return HttpResponse(pdf("advice", data, language), content_type="application/pdf")
