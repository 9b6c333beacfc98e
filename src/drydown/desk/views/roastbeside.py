"""Roasts of one roaster beside each other."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.roastbeside import beside
from drydown.desk.roastview import roaster_of
from drydown.desk.views.problem import answered

__all__ = ["roasts_beside"]


@require_safe
@answered
@guarded("samples.taken")
def roasts_beside(request: HttpRequest) -> HttpResponse:
    """The last roasts on one time axis, from beans in or a milestone; never across machines."""
    station = need_station()
    roasters = station.equipment.roasters
    roaster = roaster_of(station, request.GET.get("roaster", "")) or (roasters[0] if roasters else None)
    shown = beside(roaster, request.GET.get("from", "")) if roaster else None
    return render(
        request, "desk/roastbeside.html", {"roasters": roasters, "roaster": roaster, "shown": shown}
    )
