"""The gate: weigh in a delivery, hand out a slip."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.gate import Weighing, add_grower, receive
from drydown.books.journal import Who
from drydown.books.models import Delivery, Grower
from drydown.books.numbers import parse_decimal, parse_grams, to_minor
from drydown.books.photos import keep_photo, photo_file
from drydown.desk.context import need_station
from drydown.desk.people import guarded, who
from drydown.desk.scale import read_scale
from drydown.desk.views.forms import GateForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.station.model import Station

__all__ = ["echo", "find_grower", "gate", "photo", "scale", "slip", "take_in", "weighing"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("deliveries.weights")
def gate(request: HttpRequest) -> HttpResponse:
    """The weighing form, and today's deliveries under it."""
    station = need_station()
    start = {"grower": request.GET.get("grower", "")}
    form = GateForm(station, request.POST or None, request.FILES or None, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            delivery = take_in(form.cleaned_data, form.moment(), station, who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            return redirect("slip", pk=delivery.pk)
    return render(request, "desk/gate.html", {"form": form, **_today(station)})


def take_in(data: dict[str, Any], at: datetime, station: Station, by: Who) -> Delivery:
    """Grower and delivery together, or neither."""
    if data["tare"] >= data["gross"]:
        raise InputError(
            f"The empty container ({data['tare'] / 1000:g} kg) weighs as much as the full one "
            f"({data['gross'] / 1000:g} kg) or more.",
            fix="Were the two swapped?",
        )
    with transaction.atomic():
        before = Delivery.objects.filter(entry__key=data["key"]).first()
        grower = before.grower if before and data["new_grower"] else find_grower(data, by)
        if before and before.grower != grower:
            raise InputError("This form was sent before for another grower.", fix="Open the page anew.")
        return receive(weighing(data, grower, at, station, by))


def weighing(data: dict[str, Any], grower: Grower, at: datetime, station: Station, by: Who) -> Weighing:
    """A weighing by the station's own price, class, deduction and lot rules."""
    money, net = station.money, data["gross"] - data["tare"]
    ripe = None if data["ripe"] is None else round(data["ripe"])
    floats = None if data["floats"] is None else round(data["floats"])
    found = money.fruit_class(data["ripe"])
    name = found.name if found else ""
    price = money.price_coins(data["species"], data["ripe"])
    value = to_minor(Decimal(net) * price / 1000, 0)
    apart = {"class": name, "village": grower.village}.get(station.gate.lots_apart_by or "", "")
    most = station.gate.lot_max_kg
    return Weighing(
        data["key"], grower, data["species"], data["route"], data["gross"], data["tare"], price,
        money.currency, money.decimals, at, at.astimezone(station.place.site().zone).date(), ripe, floats,
        name, data["containers"], money.held_back(net, value), apart,
        None if most is None else round(most * 1000), by, _photo(data),
    )  # fmt: skip


def _photo(data: dict[str, Any]) -> str:
    """The photo's name, once it is kept; nothing without one."""
    upload = data.get("photo")
    return keep_photo(upload.read()) if upload else ""


@require_safe
@answered
@guarded("deliveries.weights")
def photo(request: HttpRequest, pk: int) -> HttpResponse:  # noqa: ARG001
    """The photo of a delivery."""
    entry = get_object_or_404(Delivery.objects.select_related("entry"), pk=pk).entry
    file = photo_file(entry.facts.get("photo", ""))
    if file is None or not file.is_file():
        raise InputError("has no photo, or its file is gone.", f"slip {pk}")
    kind = "image/png" if file.suffix == ".png" else "image/jpeg"
    return HttpResponse(file.read_bytes(), content_type=kind)


def _plain(name: str) -> str:
    """A name without capitals and accents, as people type it on a phone."""
    parts = unicodedata.normalize("NFKD", name.casefold())
    return "".join(c for c in parts if not unicodedata.combining(c))


def find_grower(data: dict[str, Any], by: Who) -> Grower:
    """The grower meant by what was typed: a number, a whole name, or both; never a guess."""
    text = " ".join(data["grower"].split())
    if data["new_grower"]:
        return add_grower(text, data["village"], by)
    number = re.match(r"^([0-9]{1,9})(?: (.+))?$", text)
    if number:
        found = Grower.objects.filter(number=int(number[1])).first()
        if found and (number[2] is None or number[2].casefold() == found.name.casefold()):
            return found
        if found is None and number[2] is None:
            raise InputError(f"No grower has the number {number[1]}.", fix="Search by name.")
    plain = _plain(text)
    names = [g for g in Grower.objects.all() if _plain(g.name) == plain][:2]
    if len(names) == 1:
        return names[0]
    if names:
        raise InputError(
            f"More than one grower is called '{text}' ({names[0]}, {names[1]}).", fix="Use the number."
        )
    near = list(Grower.objects.filter(name__icontains=text)[:3])
    hint = f"Did you mean {' or '.join(str(g) for g in near)}?" if near else "Tick “new grower” to add one."
    raise InputError(f"No grower is called '{text}'.", fix=hint)


def _today(station: Station) -> dict[str, Any]:
    zone = station.place.site().zone
    begin = timezone.now().astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    rows = Delivery.objects.filter(happened_at__gte=begin, undone=False).select_related("grower", "lot")
    return {
        "growers": Grower.objects.all()[:400],
        "deliveries": rows[:30],
        "total_g": rows.aggregate(total=Sum("net_g"))["total"] or 0,
        "money": station.money,
    }


@require_http_methods(["POST"])
@answered
@guarded("deliveries.weights")
def echo(request: HttpRequest) -> HttpResponse:
    """What the typed weights say, in words, before anything is kept."""
    try:
        gross = parse_grams(request.POST.get("gross", ""), _("gross weight"))
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
    }  # fmt: skip
    return render(request, "desk/slip.html", context)
