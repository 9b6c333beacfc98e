"""The gate: weigh in a delivery, hand out a slip."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import Q, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.journal.photos import photo_file
from drydown.books.lots.weighing import take_in
from drydown.books.models import Delivery, Grower
from drydown.books.numbers import parse_decimal, parse_grams
from drydown.desk.context import need_station
from drydown.desk.people import guarded, may_mend, who
from drydown.desk.scale import read_scale
from drydown.desk.views.forms import GateForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.station.model import Station
from drydown.words import say

__all__ = ["echo", "gate", "photo", "scale", "slip"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("deliveries.weights")
def gate(request: HttpRequest) -> HttpResponse:
    """The weighing form, and today's deliveries under it."""
    station = need_station()
    form = GateForm(station, request.POST or None, request.FILES or None, initial=_last_time(request))
    if request.method == "POST" and form.is_valid() and form.question is None:
        try:
            delivery = take_in(form.cleaned_data, form.moment(), station, who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            last = {k: form.cleaned_data[k] for k in ("species", "route")}
            if request.session.get("gate") != last:  # the same as before is no commit of its own
                request.session["gate"] = last
            return redirect(f"{reverse('gate')}?saved={delivery.pk}")
    kept = _just_saved(request)
    if kept and not form.is_bound:
        form.fields["grower"].widget.attrs["autofocus"] = True  # the hand goes on to the next grower
    return render(request, "desk/gate.html", {"form": form, "kept": kept, **_today(station)})


def _last_time(request: HttpRequest) -> dict[str, Any]:
    """Species and route as last time on this phone; the grower of the card that was shown."""
    return {**request.session.get("gate", {}), "grower": request.GET.get("grower", "")}


def _just_saved(request: HttpRequest) -> Delivery | None:
    """The weighing that was saved a moment ago, to be told above the next one."""
    number = request.GET.get("saved", "")
    if not number.isascii() or not number.isdecimal() or len(number) > 15:
        return None
    return Delivery.objects.select_related("grower", "lot").filter(pk=int(number)).first()


@require_safe
@answered
@guarded("deliveries.weights")
@guarded("growers.names", write=False)
def photo(request: HttpRequest, pk: int) -> HttpResponse:  # noqa: ARG001
    """The photo of a delivery."""
    entry = get_object_or_404(Delivery.objects.select_related("entry"), pk=pk).entry
    file = photo_file(entry.facts.get("photo", ""))
    if file is None or not file.is_file():
        raise InputError("has no photo, or its file is gone.", say("slip {pk}", pk=pk))
    kind = "image/png" if file.suffix == ".png" else "image/jpeg"
    return HttpResponse(file.read_bytes(), content_type=kind)


def _today(station: Station) -> dict[str, Any]:
    """Weighings of today, and those that were typed today for an earlier day."""
    zone = station.place.site().zone
    begin = timezone.now().astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    fresh = Q(happened_at__gte=begin) | Q(entry__received_at__gte=begin)
    rows = Delivery.objects.filter(fresh, undone=False).select_related("grower", "lot").order_by("-entry_id")
    today = rows.filter(happened_at__gte=begin)
    return {
        "growers": Grower.objects.filter(merged_into=None)[:400],
        "deliveries": rows[:30],
        "day_begins": begin,
        "total_g": today.aggregate(total=Sum("net_g"))["total"] or 0,
        "money": station.money,
    }


@require_http_methods(["POST"])
@answered
@guarded("deliveries.weights")
def echo(request: HttpRequest) -> HttpResponse:
    """What the typed weights say, in words, before anything is kept."""
    if not request.POST.get("gross", "").strip():
        return HttpResponse("", content_type="text/plain")
    try:
        gross = parse_grams(request.POST["gross"], _("gross weight"))
        tare = _echo_tare(request)
    except InputError as error:
        return HttpResponse(f"{error.where}: {error.what}", content_type="text/plain")
    net = gross - tare
    if net <= 0:
        return HttpResponse(_("The empty container weighs too much."), content_type="text/plain")
    words = _("Net: %(kg)d kilograms and %(g)d grams") % {"kg": net // 1000, "g": net % 1000}
    return HttpResponse(words, content_type="text/plain")


def _echo_tare(request: HttpRequest) -> int:
    """Empty weight as typed, or by the containers chosen."""
    typed = request.POST.get("tare", "").strip()
    tin = need_station().gate.container(request.POST.get("container", ""))
    if typed or tin is None:
        return parse_grams(typed or "0", _("empty container"))
    count = int(parse_decimal(request.POST.get("count", "") or "1", _("how many")))
    return round(tin.tare_kg * 1000) * count


@require_safe
@answered
@guarded("deliveries.weights", write=True)
def scale(request: HttpRequest) -> HttpResponse:
    """The gross weight field, filled by the scale; a sentence when the scale does not say."""
    found = need_station().gate.scale
    words, value = "", ""
    if found is None:
        words = _("No scale is described under [gate.scale] in the station file.")
    else:
        try:
            value = f"{read_scale(found) / 1000:.3f}".rstrip("0").rstrip(".")
        except InputError as error:
            words = str(error)
    return render(request, "desk/_gross.html", {"value": value, "words": words})


@require_safe
@answered
@guarded("deliveries.weights")
def slip(request: HttpRequest, pk: int) -> HttpResponse:
    """The slip for one delivery, with the grower's season so far."""
    need_station()
    found = get_object_or_404(Delivery.objects.select_related("grower", "lot", "entry"), pk=pk)
    since = found.happened_at - timedelta(days=365)
    season = Delivery.objects.filter(
        grower=found.grower, currency=found.currency, decimals=found.decimals, undone=False,
        happened_at__gt=since, happened_at__lte=found.happened_at,
    ).aggregate(kg=Sum("net_g"), pays=Sum("pays"))  # fmt: skip
    facts = found.entry.facts
    context = {
        "d": found, "season": season, "deductions": facts["deductions"], "containers": facts["containers"],
        "value": found.pays + found.held_back, "photo": facts.get("photo", ""),
        "mendable": may_mend(request, found.entry),
    }  # fmt: skip
    return render(request, "desk/slip.html", context)
