"""Room in the days to come: whether more fruit can be taken, and what a place and a load would cost in
days."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from drydown.books.daybook.gather import day_now
from drydown.books.lots.air import station_skies
from drydown.day.ahead import can_take, free_ahead
from drydown.day.spread import Trial, trials
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.views.forms import Kilograms
from drydown.desk.views.problem import answered
from drydown.station.model import Station

__all__ = ["room"]

BUDGET_S = 4.0
DAYS = 8


class RoomForm(forms.Form):
    """Fruit that may come: kilograms, species, route, and in how many days it would be spread."""

    kg = Kilograms(label=_("ripe fruit, kg"))
    species = forms.ChoiceField(label=_("species"))
    route = forms.ChoiceField(label=_("route"))
    day = forms.TypedChoiceField(label=_("spread"), coerce=int)

    def __init__(self, station: Station, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = {"species": station.species, "route": station.routes}
        for name, values in choices.items():
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)  # noqa: S101 (declared above)
            field.choices = [(v, v.replace("_", " ")) for v in values]
        day = self.fields["day"]
        assert isinstance(day, forms.ChoiceField)  # noqa: S101 (declared above)
        day.choices = [
            (d, _("today") if d == 0 else _("tomorrow") if d == 1 else _("in %d days") % d)
            for d in range(DAYS)
        ]


@require_safe
@answered
@guarded("lots.way")
def room(request: HttpRequest) -> HttpResponse:
    """May I take so much more? And where would it dry, at which load, how soon, with what risk?"""
    station, now = need_station(), timezone.now()
    asked = "kg" in request.GET
    form = RoomForm(station, request.GET if asked else None, initial={"day": 1})
    here = day_now(station, now, BUDGET_S)
    rooms = free_ahead(here, DAYS)
    answer: str | None = None
    area, tried = None, list[Trial]()
    if asked and form.is_valid():
        told = form.cleaned_data
        kg = told["kg"] / 1000.0
        answer, area = can_take(rooms, station, told["species"], told["route"], kg, told["day"])
        tried = trials(
            station, station_skies(station), here.now, told["species"], told["route"], kg, told["day"]
        )
    context = {
        "form": form, "answer": answer, "area": area, "rooms": rooms, "trials": tried,
        "waiting": here.waiting,
        "days": range(DAYS), "now": here.now,
    }  # fmt: skip
    return render(request, "desk/room.html", context)
