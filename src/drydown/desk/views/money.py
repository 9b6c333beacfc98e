"""Money: what is owed, paying, advances, costs, buyers, second payments, what a price means at the gate."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from drydown.books.journal.write import Who
from drydown.books.lots.byproducts import Leaving, part_with, piles
from drydown.books.lots.gate import owed
from drydown.books.lots.undo import lines_of
from drydown.books.models import Entry, Grower, Lot
from drydown.books.money.accounts import accounts_view
from drydown.books.money.payments import (
    SHARE_RULES,
    add_cost,
    buyer_pays,
    earlier_second_payments,
    pay_grower,
    second_payment,
)
from drydown.books.numbers import parse_decimal
from drydown.desk.context import need_station
from drydown.desk.people import guarded, told, who
from drydown.desk.seasonpic import season_context
from drydown.desk.views.forms import Keyed, Kilograms, Plain, Typed
from drydown.desk.views.payrun import run_context
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.station.trade import Money
from drydown.trade.coins import coin_text
from drydown.words import say

__all__ = ["FORMS", "do_money", "money_page"]


class Coins(Typed):
    """An amount of money; the value stays a decimal, so that no coin is lost."""

    def read(self, text: str) -> Any:
        """The amount."""
        return parse_decimal(text, str(self.label))


class MoneyForm(Keyed):
    """What all forms of this page share."""

    act = ""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=f"id_{self.act}_%s", **kwargs)


class PayForm(MoneyForm):
    """Pay a grower."""

    act = "pay"
    grower = forms.IntegerField(label=gettext_lazy("grower's number"), min_value=1, max_value=10**9)
    kind = forms.ChoiceField(
        label=gettext_lazy("as"),
        choices=[("payment", gettext_lazy("payment of what is owed")), ("advance", gettext_lazy("advance"))],
    )
    amount = Coins(label=gettext_lazy("amount"))
    note = forms.CharField(label=gettext_lazy("note"), max_length=80, required=False)


class CostForm(MoneyForm):
    """A cost, of some lots or of the station."""

    act = "cost"
    what = forms.CharField(label=gettext_lazy("paid for"), max_length=40)
    amount = Coins(label=gettext_lazy("amount"))
    lots = forms.CharField(
        label=gettext_lazy("lots, with spaces between"), max_length=600, required=False,
        help_text=gettext_lazy("shared by dry matter; empty for the station's own costs"),
    )  # fmt: skip


class ReceiptForm(MoneyForm):
    """Money from a buyer."""

    act = "receipt"
    buyer = forms.CharField(label=gettext_lazy("buyer"), max_length=60)
    amount = Coins(label=gettext_lazy("amount"))
    note = forms.CharField(label=gettext_lazy("note"), max_length=80, required=False)


class SecondForm(MoneyForm):
    """A second payment, shared by rule."""

    act = "second"
    lots = forms.CharField(label=gettext_lazy("lots, with spaces between"), max_length=600)
    rule = forms.ChoiceField(
        label=gettext_lazy("shared"), choices=[(k, gettext_lazy(v)) for k, v in SHARE_RULES.items()]
    )
    amount = Coins(label=gettext_lazy("sum to share"))


class AsideForm(MoneyForm):
    """A by-product that leaves: sold, given away, or used here."""

    act = "aside"
    what = forms.ChoiceField(label=gettext_lazy("by-product"))
    mass = Kilograms(label=gettext_lazy("kilograms"))
    moisture = Plain(
        1, 94, "% wb", label=gettext_lazy("its moisture, % wb"), required=False,
        help_text=gettext_lazy("leave empty if it is as moist as the books hold it"),
    )  # fmt: skip
    buyer = forms.CharField(
        label=gettext_lazy("to"), max_length=60, required=False,
        help_text=gettext_lazy("leave empty for your own use: fuel, compost"),
    )  # fmt: skip
    amount = Coins(label=gettext_lazy("sold for, in all"), required=False)
    note = forms.CharField(label=gettext_lazy("note"), max_length=80, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        held = [(p.name, f"{p.name} ({p.matter.mass / 1000:.1f} kg)") for p in piles()]
        self.fields["what"].choices = [("", _("choose")), *held]  # type: ignore[attr-defined]


FORMS: dict[str, type[MoneyForm]] = {
    f.act: f for f in (PayForm, CostForm, ReceiptForm, AsideForm, SecondForm)
}


def lots_named(text: str) -> list[Lot]:
    """Lots by their codes; every code must be known."""
    codes = text.replace(",", " ").replace(";", " ").split()
    found = list(Lot.objects.filter(code__in=codes))
    missing = set(codes) - {lot.code for lot in found}
    if missing:
        raise InputError(
            say("There is no lot {value}.", value=sorted(missing)[0]),
            "lots",
            "Write codes as on the yard page.",
        )
    return found


def do_money(act: str, data: dict[str, Any], form: MoneyForm, money: Money, by: Who) -> str:
    """Write what a form says; returns what was done, in words."""
    key, at, currency = data["key"], form.stated(), money.currency
    amount = 0 if data["amount"] is None else money.exact_coins(data["amount"])
    said = f"{coin_text(amount, money.decimals)} {currency}"
    if act == "pay":
        grower = Grower.objects.filter(number=data["grower"]).first()
        if grower is None:
            raise InputError(say("No grower has the number {grower}.", grower=data["grower"]))
        pay_grower(grower, amount, currency, data["kind"], data["note"], key, at, by, money.decimals)
        return _("Paid %(sum)s to %(who)s.") % {"sum": said, "who": grower}
    if act == "cost":
        add_cost(data["what"], amount, currency, lots_named(data["lots"]), key, at, by)
        return _("Saved: a cost of %s.") % said
    if act == "receipt":
        buyer_pays(data["buyer"].strip(), amount, currency, data["note"], key, at, by, money.decimals)
        return _("Saved: %s from the buyer.") % said
    if act == "aside":
        wb = None if data["moisture"] is None else data["moisture"] / 100.0
        buyer = " ".join(data["buyer"].split())
        part_with(Leaving(data["what"], data["mass"], wb, buyer, amount, currency, data["note"]), key, at, by)
        weight = f"{data['mass'] / 1000:g} kg {data['what']}"
        return _("Saved: %(what)s to %(who)s.") % {"what": weight, "who": buyer or _("your own use")}
    lots = lots_named(data["lots"])
    before = [e for e in earlier_second_payments(lots) if e.key != key]
    made = second_payment(lots, amount, data["rule"], currency, key, at, by)
    parts = [
        f"{name.removeprefix('grower/')}: {coin_text(-coins, money.decimals)}"
        for name, _commodity, coins in lines_of(made)
        if name.startswith("grower/")
    ]
    words = _("%s shared; each grower's account has its part (by number): ") % said + "; ".join(parts) + "."
    if before:
        words += " " + _("Paid before for one of these lots: entry %s. Take back what was meant once.") % (
            ", ".join(str(e.number) for e in before)
        )
    return words


def _to_pay(number: str, money: Money) -> str:
    """Who stands in the form, and what is owed to them; empty where nobody does."""
    plain = number.isascii() and number.isdecimal() and len(number) <= 9
    grower = Grower.objects.filter(number=int(number)).first() if plain else None
    if grower is None:
        return ""
    said = f"{coin_text(owed(grower.final, money.currency), money.decimals)} {money.currency}"
    return _("%(who)s: %(sum)s is owed.") % {"who": grower.final, "sum": said}


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("money.accounts")
def money_page(request: HttpRequest) -> HttpResponse:
    """Accounts, and the forms that move money."""
    money = need_station().money
    if request.headers.get("HX-Target") == "run":  # another sum or rule: the accounts stay as they are
        return render(request, "desk/_run.html", {"money": money, **run_context(request, money)})
    act = request.POST.get("act", "")
    bound: MoneyForm | None = None
    if request.method == "POST":
        if act not in FORMS:
            raise InputError(say("'{act}' is not something to do with money.", act=act))
        bound = FORMS[act](request.POST)
        if bound.is_valid():
            try:
                words = do_money(act, bound.cleaned_data, bound, money, who(request))
            except InputError as error:
                bound.add_error(None, str(error))
            else:
                told(request, words, Entry.objects.get(key=bound.cleaned_data["key"]).pk)
                return redirect("money")
    start = {"grower": request.GET.get("grower", "")}
    shown = {name: made(initial=dict(start)) if name != act else bound for name, made in FORMS.items()}
    context = {"view": accounts_view(money), "money": money, "forms": shown, "bound": bound}
    context |= run_context(request, money) | season_context(money.currency)
    context["to_pay"] = _to_pay(bound.data.get("grower", "") if bound else start["grower"], money)
    return render(request, "desk/money.html", context, status=400 if bound else 200)
