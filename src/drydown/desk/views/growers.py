"""Growers: the register, one grower's season, cards with a QR code, statements to print."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Avg, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.lots.gate import owed
from drydown.books.lots.mend import merge_growers
from drydown.books.lots.weighing import find_grower, growers_like
from drydown.books.models import Delivery, Grower, Lot
from drydown.books.money.payments import statement
from drydown.books.money.payrun import Due, dues
from drydown.books.people.access import need
from drydown.books.people.register import note_change
from drydown.desk.context import need_station
from drydown.desk.people import guarded, may_here, role, who
from drydown.desk.prints import languages, pdf, qr_svg, words
from drydown.desk.templatetags.ledger import kg
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.station.model import Station
from drydown.trade.coins import coin_text

__all__ = ["cards_pdf", "grower_page", "growers", "slip_pdf", "statement_pdf"]

PAGE = 60
Listed = tuple[Grower, Due | None]
SORTS: dict[str, Callable[[Listed], Any]] = {
    "owed": lambda row: (-(row[1].owed if row[1] else 0), row[0].number),
    "since": lambda row: (
        row[1].since.timestamp() if row[1] and row[1].since else float("inf"),
        row[0].number,
    ),
    "name": lambda row: row[0].name.casefold(),
}
WIDTHS = {"a6": (False, 105), "80": (True, 72), "58": (True, 48)}


class GrowerForm(forms.Form):
    """What the register says of a grower."""

    name = forms.CharField(label=gettext_lazy("name"), max_length=80)
    village = forms.CharField(label=gettext_lazy("village"), max_length=80, required=False)
    language = forms.ChoiceField(label=gettext_lazy("language of slips and statements"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        self.fields["language"].choices = [("", "English"), *languages().items()]  # type: ignore[attr-defined]


@require_safe
@answered
@guarded("growers.names")
def growers(request: HttpRequest) -> HttpResponse:
    """The register, searched by name, number or village."""
    text = request.GET.get("find", "").strip()[:80]
    rows = growers_like(text)
    money, sort = need_station().money, request.GET.get("sort", "number")
    context: dict[str, Any] = {"find": text, "money": money, "sort": sort}
    if not may_here(request, "money.accounts"):
        listed: list[Listed] = [(g, None) for g in rows]
    else:
        owed_to = {d.grower.pk: d for d in dues(money.currency)}
        listed = [(g, owed_to.get(g.pk)) for g in rows]
        if sort in SORTS:
            listed.sort(key=SORTS[sort])
        shown = [due for _g, due in listed if due]
        context |= {"money_shown": True, "due_total": sum(d.owed for d in shown), "due_n": len(shown)}
    context["page"] = Paginator(listed, PAGE).get_page(request.GET.get("page"))
    return render(request, "desk/growers.html", context)


def season_of(request: HttpRequest, station: Station) -> tuple[datetime, datetime]:
    """The stretch of time asked for; a year back when nothing is."""
    now = timezone.now()
    try:
        since = datetime.fromisoformat(request.GET.get("since", "")).replace(tzinfo=station.place.site().zone)
        if not 2000 <= since.year <= 2100:
            raise ValueError
    except ValueError:
        since = now - timedelta(days=365)
    return since, now + timedelta(seconds=1)


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("growers.names")
def grower_page(request: HttpRequest, number: int) -> HttpResponse:
    """One grower: name, season, account."""
    grower, station = get_object_or_404(Grower, number=number), need_station()
    start = {"name": grower.name, "village": grower.village, "language": grower.language}
    if request.POST.get("act") == "merge":
        return _merge(request, grower)
    form = GrowerForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid() and not _twin(form, grower):
        changed = {k: v for k, v in form.cleaned_data.items() if v != start[k]}
        if changed:
            Grower.objects.filter(pk=grower.pk).update(**changed)
            note_change(who(request), "grower changed", f"grower {number}", fields=sorted(changed))
            messages.success(request, _("Saved."))
        return redirect("grower", number=number)
    since, until = season_of(request, station)
    mine = Delivery.objects.filter(grower=grower, happened_at__gte=since, undone=False)
    currency = station.money.currency
    context = {
        "grower": grower, "form": form, "deliveries": mine.select_related("lot")[:200],
        "fruit_g": sum(mine.values_list("net_g", flat=True)), "money": station.money, "since": since,
        "times": mine.count(), "ripe": mine.aggregate(ripe=Avg("ripe_percent"))["ripe"],
        "became": _became(mine), "pay_key": uuid.uuid4(), "next_to": _next_to(grower),
    }  # fmt: skip
    if may_here(request, "money.accounts"):
        context["lines"] = statement(grower, currency, since, until)
        context["owed"] = owed(grower, currency)
    context["may_merge"] = may_here(request, "journal.undo", write=True)
    context["merge_key"] = uuid.uuid4()
    return render(request, "desk/grower.html", context, status=400 if form.errors else 200)


def _next_to(grower: Grower) -> tuple[int | None, int | None]:
    """Numbers before and after this one."""
    rows = Grower.objects.filter(merged_into=None)
    before = (
        rows.filter(number__lt=grower.number).order_by("-number").values_list("number", flat=True).first()
    )
    after = rows.filter(number__gt=grower.number).order_by("number").values_list("number", flat=True).first()
    return before, after


def _became(mine: Any) -> list[dict[str, Any]]:
    """The lots a grower's fruit went into: how much of each it is, and where that lot stands."""
    rows = mine.values("lot").annotate(net=Sum("net_g")).order_by("-lot__opened_on", "lot__code")[:60]
    lots = Lot.objects.in_bulk([row["lot"] for row in rows])
    whole = dict(
        Delivery.objects.filter(lot__in=lots, undone=False).values("lot").annotate(net=Sum("net_g"))
        .values_list("lot", "net")
    )  # fmt: skip
    return [
        {"lot": lots[row["lot"]], "net": row["net"], "share": 100 * row["net"] / whole[row["lot"]]}
        for row in rows
    ]


def _twin(form: GrowerForm, grower: Grower) -> bool:
    """Whether another grower stands under the name and village that were typed; then it is said."""
    name, village = form.cleaned_data["name"], form.cleaned_data["village"]
    rows = Grower.objects.filter(name__iexact=name, village__iexact=village).exclude(pk=grower.pk)
    other = rows.first()
    if other is not None:
        form.add_error("name", _("There is a grower %s already; merge them if they are one.") % other)
    return other is not None


def _merge(request: HttpRequest, grower: Grower) -> HttpResponse:
    """Two numbers of one person become one; the other number stays."""
    need(role(request), "journal.undo", write=True)
    try:
        key = uuid.UUID(request.POST.get("key", ""))
    except ValueError as error:
        raise InputError("had lost its key; nothing was saved.", "the form", "Send it again.") from error
    into = find_grower({"grower": request.POST.get("into", ""), "new_grower": False}, who(request))
    made = merge_growers(grower, into, request.POST.get("reason", ""), key, who(request))
    words = _("%(one)s is now %(two)s; entry %(n)d can be taken back.")
    messages.success(request, words % {"one": grower.number, "two": into, "n": made.pk})
    return redirect("grower", number=into.number)


def _sheet(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


def _language(request: HttpRequest, grower: Grower) -> str:
    asked = request.GET.get("language", "")
    return asked if asked in languages() else grower.language or "en"


@require_safe
@answered
@guarded("money.accounts")
def statement_pdf(request: HttpRequest, number: int) -> HttpResponse:
    """A grower's statement, in the grower's language."""
    grower, station = get_object_or_404(Grower, number=number), need_station()
    since, until = season_of(request, station)
    money, zone = station.money, station.place.site().zone
    rows = [
        {
            "at": f"{line.at.astimezone(zone):%Y-%m-%d}", "number": str(line.entry or ""), "kind": line.kind,
            "text": line.words, "kg": f"{line.net_g / 1000:g}" if line.net_g else "",
            "amount": coin_text(line.amount, money.decimals) if line.entry else "",
            "balance": coin_text(line.balance, money.decimals),
        }
        for line in statement(grower, money.currency, since, until)
    ]  # fmt: skip
    due = owed(grower, money.currency)
    data = {
        "demo": settings.DEMO, "grower": str(grower), "place": station.place.name, "currency": money.currency,
        "since": f"{since.astimezone(zone):%Y-%m-%d}", "until": f"{until.astimezone(zone):%Y-%m-%d}",
        "lines": rows, "owed_now": due, "owed_text": coin_text(abs(due), money.decimals),
    }  # fmt: skip
    return _sheet(pdf("statement", data, _language(request, grower)), f"statement-{number}")


@require_safe
@answered
@guarded("growers.names")
def cards_pdf(request: HttpRequest) -> HttpResponse:
    """Cards for growers, each with a QR code that opens the gate for that grower."""
    try:
        asked = [int(n) for n in request.GET.get("numbers", "").split(",") if n.strip()]
        if any(n > 10**9 for n in asked):
            raise ValueError
    except ValueError as error:
        raise InputError("is not a list of numbers.", "numbers", "Write 101, 102.") from error
    rows = Grower.objects.filter(merged_into=None)
    rows = rows.filter(number__in=asked) if asked else rows
    gate = request.build_absolute_uri("/gate/")
    cards = [
        {"number": str(g.number), "name": g.name, "qr": qr_svg(f"{gate}?grower={g.number}")}
        for g in rows[:400]
    ]
    if not cards:
        raise InputError("There are no growers yet.")
    return _sheet(pdf("cards", {"place": need_station().place.name, "cards": cards}), "cards")


@require_safe
@answered
@guarded("deliveries.money", write=False)
def slip_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """A slip as PDF: A6, or a strip of 80 or 58 mm paper."""
    d = get_object_or_404(Delivery.objects.select_related("grower", "lot", "entry__seal"), pk=pk)
    station, facts = need_station(), d.entry.facts
    thermal, width = WIDTHS.get(request.GET.get("paper", "a6"), WIDTHS["a6"])
    at = d.happened_at.astimezone(station.place.site().zone)
    since = d.happened_at - timedelta(days=365)
    season = Delivery.objects.filter(
        grower=d.grower, undone=False, happened_at__gt=since, happened_at__lte=d.happened_at
    )
    language = _language(request, d.grower)
    data = {
        "number": str(pk), "demo": settings.DEMO, "undone": d.undone, "thermal": thermal, "width_mm": width,
        "place": station.place.name, "at": f"{at:%Y-%m-%d %H:%M}", "grower": str(d.grower),
        "fruit": _fruit(d, language), "gross": kg(d.gross_g), "tare": kg(d.tare_g), "net": kg(d.net_g),
        "price": f"{coin_text(d.price_per_kg, d.decimals)} {d.currency}/kg",
        "value": f"{coin_text(d.pays + d.held_back, d.decimals)} {d.currency}",
        "deductions": [[n, f"{coin_text(a, d.decimals)} {d.currency}"] for n, a in facts["deductions"]],
        "pays": f"{coin_text(d.pays, d.decimals)} {d.currency}",
        "season": kg(sum(season.values_list("net_g", flat=True))), "lot": d.lot.code,
        "seal": d.entry.seal.digest[:16],
        "containers": ", ".join(f"{n} x {name}" for name, n in facts["containers"]),
    }  # fmt: skip
    return _sheet(pdf("slip", data, language), f"slip-{pk}")


def _fruit(d: Delivery, language: str) -> str:
    said = words(language)
    parts = [d.lot.species]
    if d.ripe_percent is not None:
        parts.append(f"{d.ripe_percent} % {said['ripe']}")
    if d.float_percent is not None:
        parts.append(f"{d.float_percent} % {said['floats']}")
    if d.fruit_class:
        parts.append(f"{said['class']} {d.fruit_class}")
    return ", ".join(parts)
