"""The gate: weigh in a delivery, hand out a slip."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import Count, Q, Sum
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.journal.photos import photo_file
from drydown.books.journal.write import Who
from drydown.books.lots.weighing import find_grower, take_in
from drydown.books.models import Delivery, Grower, Lot
from drydown.books.numbers import parse_decimal, parse_grams, typed_kg
from drydown.desk.context import need_station
from drydown.desk.people import guarded, may_here, may_mend, who
from drydown.desk.scale import read_scale
from drydown.desk.views.forms import GateForm
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.station.model import Station
from drydown.way.state import Stage
from drydown.words import say

__all__ = ["echo", "gate", "photo", "scale", "slip"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("deliveries.weights")
def gate(request: HttpRequest) -> HttpResponse:
    """The weighing form, and today's deliveries under it."""
    station = need_station()
    if request.method == "POST" and {"less", "more"} & request.POST.keys():
        return _counted(request, station)
    form = GateForm(station, _as_meant(request), request.FILES or None, initial=_last_time(request, station))
    if request.method == "POST" and form.is_valid() and form.question is None:
        try:
            delivery = take_in(form.cleaned_data, form.moment(), station, who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            last = {k: form.cleaned_data[k] for k in ("species", "route", "container")}
            if request.session.get("gate") != last:  # the same as before is no commit of its own
                request.session["gate"] = last
            return redirect(f"{reverse('gate')}?saved={delivery.pk}")
    kept = _just_saved(request)
    if kept and not form.is_bound:
        form.fields["grower"].widget.attrs["autofocus"] = True  # the hand goes on to the next grower
    return _page(request, form, station, kept)


def _page(
    request: HttpRequest, form: GateForm, station: Station, kept: Delivery | None = None
) -> HttpResponse:
    as_last = not form.is_bound and "gate" in request.session
    context = {"form": form, "kept": kept, "as_last": as_last, **_today(station)}
    return render(request, "desk/gate.html", context)


def _as_meant(request: HttpRequest) -> QueryDict | None:
    """What was sent; with the likely weight, where that answer was pressed."""
    meant = request.POST.get("meant", "")
    if not meant:
        return request.POST or None
    sent = request.POST.copy()
    sent["gross"] = meant
    return sent


def _counted(request: HttpRequest, station: Station) -> HttpResponse:
    """The same form with a container more or less, for pages without scripts; nothing is kept."""
    sent = {k: request.POST[k] for k in request.POST if k not in {"less", "more", "key"}}
    count = sent.get("count", "").strip()
    number = int(count) if count.isascii() and count.isdecimal() and len(count) < 4 else 0
    sent["count"] = str(max(0, number + (1 if "more" in request.POST else -1)))
    return _page(request, GateForm(station, initial=sent), station)


def _last_time(request: HttpRequest, station: Station) -> dict[str, Any]:
    """Species, route and kind of container as last time on this phone; the grower of the card shown."""
    last = dict(request.session.get("gate", {}))
    if station.gate.container(last.get("container", "")):
        last["count"] = "1"
    return {**last, "grower": request.GET.get("grower", "")}


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
        "gathering": list(_gathering()),
        "total_g": today.aggregate(total=Sum("net_g"))["total"] or 0,
        "money": station.money,
    }


def _gathering() -> Any:
    """Lots that still take in fruit, with what they hold so far and of how many growers."""
    mine = Q(deliveries__undone=False)
    return Lot.objects.filter(stage=Stage.GATHERING).annotate(
        net=Sum("deliveries__net_g", filter=mine),
        growers=Count("deliveries__grower", filter=mine, distinct=True),
    ).exclude(net=None)  # fmt: skip


@require_http_methods(["POST"])
@answered
@guarded("deliveries.weights")
def echo(request: HttpRequest) -> HttpResponse:
    """What the typed weights come to, before anything is kept: net, worth, who that grower is."""
    station = need_station()
    found: dict[str, Any] = {"came": _came(request)}
    if request.POST.get("gross", "").strip():
        try:
            found |= _net(request, station)
        except InputError as error:
            found["words"] = f"{error.where}: {error.what}"
    return render(request, "desk/_net.html", found)


def _net(request: HttpRequest, station: Station) -> dict[str, Any]:
    gross, tare = parse_grams(request.POST["gross"], _("gross weight")), _echo_tare(request)
    net = gross - tare
    if net <= 0:
        return {"words": _("The empty container weighs too much.")}
    words = _("Net: %(kg)d kilograms and %(g)d grams") % {"kg": net // 1000, "g": net % 1000}
    return {"net_g": net, "tare_g": tare, "words": words, **_worth(request, station, net)}


def _worth(request: HttpRequest, station: Station, net_g: int) -> dict[str, Any]:
    """What the weighing would pay, for those who may see money."""
    species, money = request.POST.get("species", ""), station.money
    if species not in station.species or not may_here(request, "deliveries.money"):
        return {}
    typed = request.POST.get("ripe", "").strip()
    ripe = float(parse_decimal(typed, _("ripe fruit"))) if typed else None
    price, found = money.price_coins(species, ripe), money.fruit_class(ripe)
    value = money.value_coins(net_g, price)
    pays = value - sum(coins for _name, coins in money.held_back(net_g, value))
    return {
        "pays": pays, "held": value - pays, "price": price, "currency": money.currency,
        "decimals": money.decimals,
        "fruit_class": found.name if found else "",
    }  # fmt: skip


def _came(request: HttpRequest) -> dict[str, Any] | None:
    """The grower that was typed, with the last weighing; none where nobody is meant for sure."""
    typed = request.POST.get("grower", "").strip()
    if not typed or request.POST.get("new_grower") or not may_here(request, "growers.names"):
        return None
    try:
        grower = find_grower({"grower": typed, "new_grower": False}, Who())
    except InputError as error:
        return {"unknown": error.what}
    return {"grower": grower, "last": grower.deliveries.filter(undone=False).first()}


def _echo_tare(request: HttpRequest) -> int:
    """Empty weight as typed, or by the containers chosen."""
    typed, count = request.POST.get("tare", "").strip(), request.POST.get("count", "").strip()
    said = float(parse_decimal(count, _("how many"))) if count else None
    tin, number = need_station().gate.counted(request.POST.get("container", ""), said, bool(typed))
    return parse_grams(typed or "0", _("empty container")) if tin is None else tin.tare_g * number


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
            value = typed_kg(read_scale(found))
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
