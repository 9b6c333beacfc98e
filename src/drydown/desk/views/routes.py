"""The routes of fruit side by side."""

from __future__ import annotations

from datetime import datetime, timedelta

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from drydown.books.lots.air import station_skies
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.views.forms import Plain
from drydown.desk.views.problem import answered
from drydown.plan.routes import RouteSide, routes_beside
from drydown.station.model import Station

__all__ = ["routes"]

NAMES = {
    "days": _("days of drying"), "mould": _("chance past the mould rule"), "area": _("area"),
    "area_days": _("area times days"), "water": _("water"), "effluent": _("effluent"),
    "pulper_h": _("at the pulper"), "tank_h": _("in the tank"), "green": _("green to come"),
    "cost": _("fruit and stated work"), "income": _("price of the green"), "margin": _("left of it"),
}  # fmt: skip
HOUR = 14


class RoutesForm(forms.Form):
    """What fruit, how much, when, and where."""

    species = forms.ChoiceField(label=_("species"))
    kg = Plain(1, 1e6, "kg", label=_("ripe fruit, kg"))
    day = forms.DateField(label=_("day"), widget=forms.DateInput(attrs={"type": "date"}))
    place = forms.ChoiceField(label=_("place"), required=False)

    def __init__(self, station: Station, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["species"].choices = [(s, s) for s in station.species]  # type: ignore[attr-defined]
        places = [(p, p) for p in station.drying_places()]
        self.fields["place"].choices = [("", _("the quickest for each")), *places]  # type: ignore[attr-defined]


@require_safe
@answered
@guarded("deliveries.money")
def routes(request: HttpRequest) -> HttpResponse:
    """Ask, and see the routes beside each other."""
    station = need_station()
    zone = station.place.site().zone
    today = timezone.now().astimezone(zone).date()
    asked = bool(request.GET.get("kg"))
    form = RoutesForm(station, request.GET if asked else None, initial={"day": today}, label_suffix="")
    sides: list[RouteSide] = []
    if asked and form.is_valid():
        told = form.cleaned_data
        start = datetime(told["day"].year, told["day"].month, told["day"].day, HOUR, tzinfo=zone)
        if abs(start.date() - today) <= timedelta(days=400):
            members = min(settings.FUTURES, 100)
            sides = routes_beside(
                station, station_skies(station), told["species"], told["kg"], start, told["place"], members
            )
        else:
            form.add_error("day", _("must lie within a year or so."))
    rows = [
        (NAMES[key], [s.figures.get(key) for s in sides])
        for key in NAMES
        if any(key in s.figures for s in sides)
    ]
    context = {"form": form, "sides": sides, "rows": rows}
    return render(request, "desk/routes.html", context, status=400 if form.errors else 200)
