"""The gate: weigh in a delivery, hand out a slip."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.models import Delivery, Grower
from drydown.books.numbers import parse_grams, to_minor
from drydown.books.services import Weighing, add_grower, receive
from drydown.desk.context import need_station
from drydown.desk.views.forms import GateForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.station.model import Station

__all__ = ["echo", "gate", "slip"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
def gate(request: HttpRequest) -> HttpResponse:
    """The weighing form, and today's deliveries under it."""
    station = need_station()
    form = GateForm(station, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            delivery = _receive(form, station, request)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            return redirect("slip", pk=delivery.pk)
    return render(request, "desk/gate.html", {"form": form, **_today(station)})


def _receive(form: GateForm, station: Station, request: HttpRequest) -> Delivery:
    """Grower and delivery together, or neither."""
    data, money = form.cleaned_data, station.money
    at = form.moment()
    price = to_minor(Decimal(str(money.cherry_price_per_kg[data["species"]])), money.decimals)
    ripe = None if data["ripe"] is None else round(data["ripe"])
    if data["tare"] >= data["gross"]:
        raise InputError(
            f"The empty container ({data['tare'] / 1000:g} kg) weighs as much as the full one "
            f"({data['gross'] / 1000:g} kg) or more.",
            fix="Were the two swapped?",
        )
    user: Any = request.user
    with transaction.atomic():
        before = Delivery.objects.filter(key=data["key"]).first()
        grower = before.grower if before and data["new_grower"] else _grower(data)
        if before and before.grower != grower:
            raise InputError("This form was sent before for another grower.", fix="Open the page anew.")
        day = at.astimezone(station.place.site().zone).date()
        weighing = Weighing(
            data["key"], grower, data["species"], data["route"], data["gross"], data["tare"], price,
            money.currency, money.decimals, at, day, ripe,
        )  # fmt: skip
        return receive(weighing, user)


def _grower(data: dict[str, Any]) -> Grower:
    """The grower meant by what was typed: a number, a whole name, or both; never a guess."""
    text = " ".join(data["grower"].split())
    if data["new_grower"]:
        return add_grower(text, data["village"])
    number = re.match(r"^([0-9]{1,9})(?: (.+))?$", text)
    if number:
        found = Grower.objects.filter(number=int(number[1])).first()
        if found and (number[2] is None or number[2].casefold() == found.name.casefold()):
            return found
        if found is None and number[2] is None:
            raise InputError(f"No grower has the number {number[1]}.", fix="Search by name.")
    names = list(Grower.objects.filter(name__iexact=text)[:2])
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
    rows = Delivery.objects.filter(happened_at__gte=begin).select_related("grower", "lot")
    return {
        "growers": Grower.objects.all()[:400],
        "deliveries": rows[:30],
        "total_g": rows.aggregate(total=Sum("net_g"))["total"] or 0,
        "money": station.money,
    }


@require_http_methods(["POST"])
def echo(request: HttpRequest) -> HttpResponse:
    """What the typed weights say, in words, before anything is kept."""
    try:
        gross = parse_grams(request.POST.get("gross", ""), _("gross weight"))
        tare = parse_grams(request.POST.get("tare", "") or "0", _("empty container"))
    except InputError as error:
        return HttpResponse(f"{error.where}: {error.what}", content_type="text/plain")
    net = gross - tare
    if net <= 0:
        return HttpResponse(_("The empty container weighs too much."), content_type="text/plain")
    words = _("Net: %(kg)d kilograms and %(g)d grams") % {"kg": net // 1000, "g": net % 1000}
    return HttpResponse(words, content_type="text/plain")


@require_safe
@answered
def slip(request: HttpRequest, pk: int) -> HttpResponse:
    """The slip for one delivery, with the grower's season so far."""
    need_station()
    found = get_object_or_404(Delivery.objects.select_related("grower", "lot"), pk=pk)
    since = found.happened_at - timedelta(days=365)
    season = Delivery.objects.filter(
        grower=found.grower, currency=found.currency, decimals=found.decimals,
        happened_at__gt=since, happened_at__lte=found.happened_at,
    ).aggregate(kg=Sum("net_g"), pays=Sum("pays"))  # fmt: skip
    return render(request, "desk/slip.html", {"d": found, "season": season})
