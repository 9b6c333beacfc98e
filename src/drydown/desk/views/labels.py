"""Labels of roasted coffee for local sale."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from drydown.books.models import Happening, Lot
from drydown.books.numbers import parse_decimal
from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.prints import languages, pdf
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["labels"]

MOST = 200


@require_safe
@answered
@guarded("lots.way")
def labels(request: HttpRequest, code: str) -> HttpResponse:
    """A sheet of labels of a roasted lot: grams and how many are asked."""
    lot = get_object_or_404(Lot, code=code)
    if lot.stage != Stage.ROASTED or lot.moved_at is None:
        raise InputError(say("is not roasted."), code, "Roast it first.")
    grams = float(parse_decimal(request.GET.get("grams", "250"), "grams"))
    count = request.GET.get("count", "10")
    if not 5.0 <= grams <= 60_000.0 or not count.isdigit() or not 1 <= int(count) <= MOST:
        raise InputError(say("must be 5 to 60 000 g, and 1 to {m} labels.", m=MOST), "labels")
    station = need_station()
    zone = station.place.site().zone
    last = Happening.objects.filter(lot=lot, kind="roast", undone=False).order_by("-entry_id").first()
    language = request.GET.get("language", "en")
    data = {
        "demo": settings.DEMO, "place": station.place.name, "lot": lot.code, "species": lot.species,
        "route": str(lot.route_words()), "roast": str(last.details.get("roast", "")) if last else "",
        "grams": f"{grams:g}", "count": int(count),
        "roasted": lot.moved_at.astimezone(zone).date().isoformat(),
        "packed": timezone.now().astimezone(zone).date().isoformat(),
    }  # fmt: skip
    made = pdf("label", data, language if language in languages() else "en")
    return HttpResponse(made, content_type="application/pdf")
