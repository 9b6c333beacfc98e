"""The journal as pages: every entry, one entry with its postings and seal, and taking it back."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from drydown.books.lots.undo import lines_of, take_back, why_not
from drydown.books.models import Change, Delivery, Entry
from drydown.books.money.payments import adjust
from drydown.desk.context import need_station
from drydown.desk.people import guarded, may_here, who
from drydown.desk.views.forms import Keyed, Typed
from drydown.desk.views.problem import answered
from drydown.errors import InputError

__all__ = ["OwedForm", "TakeBackForm", "audit", "entry_page", "owed_otherwise", "undo"]

PAGE = 50


class TakeBackForm(Keyed):
    """Why an entry is taken back."""

    reason = forms.CharField(label=gettext_lazy("reason"), max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["at"]


class OwedForm(TakeBackForm):
    """More or less for one delivery."""

    sign = forms.ChoiceField(
        label=gettext_lazy("the grower is owed"),
        choices=[("more", gettext_lazy("more")), ("less", gettext_lazy("less"))],
    )
    amount = Typed(label=gettext_lazy("by this amount"))
    field_order = ["sign", "amount", "reason", "key"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("journal.undo", write=True)
def owed_otherwise(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct what is owed for a delivery whose lot has moved on: an entry of its own, with a reason."""
    delivery = get_object_or_404(Delivery.objects.select_related("grower", "lot"), pk=pk)
    form = OwedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data, money = form.cleaned_data, need_station().money
        try:
            coins = money.exact_coins(Decimal(str(data["amount"])))
            coins = coins if data["sign"] == "more" else -coins
            adjust(delivery, coins, data["reason"], data["key"], None, who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What is owed is corrected."))
            return redirect("slip", pk=pk)
    return render(
        request, "desk/owed.html", {"form": form, "d": delivery}, status=400 if form.errors else 200
    )


@require_safe
@answered
@guarded("journal.audit")
def audit(request: HttpRequest) -> HttpResponse:
    """Entries and changes of access, newest first."""
    entries = Entry.objects.select_related("device").order_by("-number")
    page = Paginator(entries, PAGE).get_page(request.GET.get("page"))
    return render(request, "desk/audit.html", {"page": page, "changes": Change.objects.all()[:PAGE]})


def _page(request: HttpRequest, entry: Entry, form: TakeBackForm | None = None) -> HttpResponse:
    context = {
        "entry": entry,
        "facts": json.dumps(entry.facts, indent=2, ensure_ascii=False),
        "lines": lines_of(entry),
        "hurdle": why_not(entry),
        "form": form or TakeBackForm(),
        "reversal": Entry.objects.filter(reverses=entry).first(),
        "may_undo": may_here(request, "journal.undo", write=True),
    }
    return render(request, "desk/entry.html", context, status=400 if form else 200)


@require_safe
@answered
@guarded("journal.audit")
def entry_page(request: HttpRequest, number: int) -> HttpResponse:
    """One entry: what was said, what moved, who, when, and its seal."""
    return _page(request, get_object_or_404(Entry.objects.select_related("seal", "device"), pk=number))


@require_POST
@answered
@guarded("journal.undo")
def undo(request: HttpRequest, number: int) -> HttpResponse:
    """Take an entry back with a reason."""
    entry = get_object_or_404(Entry.objects.select_related("seal", "device"), pk=number)
    form = TakeBackForm(request.POST)
    if form.is_valid():
        try:
            made = take_back(entry, form.cleaned_data["reason"], who(request), form.cleaned_data["key"])
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Taken back by entry %d.") % made.number)
            return redirect("entry", number=number)
    return _page(request, entry, form)
