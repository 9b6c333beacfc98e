"""The pay-run on the money page: what it would pay, and paying it."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from drydown.books.money.payrun import RUN_RULES, Run, dues, pay_run, plan_run, was_paid
from drydown.books.numbers import parse_decimal
from drydown.desk.context import need_station
from drydown.desk.people import guarded, who
from drydown.desk.views.problem import answered
from drydown.errors import DrydownError, InputError
from drydown.station.trade import Money
from drydown.trade.coins import coin_text

__all__ = ["pay", "run_context"]


def _budget(text: str, money: Money) -> int | None:
    """The sum that is in hand, smallest coin; None for all that is owed."""
    return money.exact_coins(parse_decimal(text, _("sum to pay out"))) if text.strip() else None


def run_context(request: HttpRequest, money: Money) -> dict[str, Any]:
    """What is owed to whom, and the three ways to pay it with the sum in hand."""
    rule, typed = request.GET.get("rule", "oldest"), request.GET.get("sum", "")
    found, trouble, runs = dues(money.currency), "", []
    try:
        runs = [plan_run(found, name, _budget(typed, money)) for name in RUN_RULES]
    except DrydownError as error:
        trouble = str(error)
        runs = [plan_run(found, name, None) for name in RUN_RULES]
    chosen = next((run for run in runs if run.rule == rule), runs[0])
    return {
        "dues": found, "due_total": sum(d.owed for d in found), "due_fruit_g": sum(d.fruit_g for d in found),
        "oldest": found[0].since if found else None, "runs": [(r, _(RUN_RULES[r.rule])) for r in runs],
        "run": chosen, "run_sum": typed, "run_trouble": trouble, "run_key": uuid.uuid4(),
    }  # fmt: skip


@require_http_methods(["POST"])
@answered
@guarded("money.accounts", write=True)
def pay(request: HttpRequest) -> HttpResponse:
    """Pay everyone of the run that was looked at; refused where a sum has changed since."""
    money, rule, typed = need_station().money, request.POST.get("rule", ""), request.POST.get("sum", "")
    try:
        key = uuid.UUID(request.POST.get("key", ""))
    except ValueError as error:
        raise InputError("had lost its key; nobody was paid.", "the pay-run", "Open Money anew.") from error
    back = f"{reverse('money')}?{urlencode({'rule': rule, 'sum': typed})}"
    if was_paid(key):
        messages.success(request, _("This pay-run was paid already, once."))
        return redirect("money")
    run = plan_run(dues(money.currency), rule, _budget(typed, money))
    if run.token != request.POST.get("token", ""):
        messages.warning(request, _("Nobody was paid: the sums are not those you saw. Look at them again."))
        return redirect(back)
    pay_run(run, money.currency, money.decimals, _("pay-run"), key, who(request))
    messages.success(request, _done(run, money))
    return redirect("money")


def _done(run: Run, money: Money) -> str:
    said = f"{coin_text(run.total, money.decimals)} {money.currency}"
    words = _("Paid %(sum)s to %(n)d growers; %(left)s stays owed. Each payment is an entry of its own.")
    left = f"{coin_text(run.left, money.decimals)} {money.currency}"
    return words % {"sum": said, "n": len(run.pays), "left": left}
