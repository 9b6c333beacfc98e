"""Wrong? Mend it: the form that was sent opens again filled in; saving takes back and records anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from drydown.books.bench.contracts import known_scheme
from drydown.books.bench.sheets import record_sheet
from drydown.books.lots.mend import REASON, hand_over, hurdle, mend
from drydown.books.lots.readings import record_reading
from drydown.books.lots.take import take_step
from drydown.books.lots.weighing import find_grower, take_in
from drydown.books.models import Delivery, Entry, Lot
from drydown.books.numbers import typed_kg
from drydown.books.people.access import NotAllowedError
from drydown.desk.context import need_station
from drydown.desk.people import may_mend, who
from drydown.desk.views.forms import GateForm, Keyed, ReadingForm, StepForm
from drydown.desk.views.money import FORMS, do_money
from drydown.desk.views.problem import answered
from drydown.desk.views.sampleforms import CountForm, sheet_forms
from drydown.errors import InputError
from drydown.way.ask import here as asked_here
from drydown.way.order import step as find_step
from drydown.way.state import Stage
from drydown.way.when import moment_text
from drydown.words import say

__all__ = ["mend_entry", "to_other_grower"]


@dataclass(frozen=True, slots=True)
class Mender:
    """How one kind of entry is mended: its form, what saving writes, and where to go after."""

    form: Keyed
    record: Callable[[], Any]
    after: Callable[[Any], HttpResponse]
    title: str


@require_http_methods(["GET", "HEAD", "POST"])
@answered
def mend_entry(request: HttpRequest, number: int) -> HttpResponse:
    """The form of an entry again, filled in; saved, the old one is taken back and the new one kept."""
    entry = get_object_or_404(Entry, pk=number)
    if not may_mend(request, entry):
        raise NotAllowedError(_("Only your own last entry can be mended by you. Ask the owner or a manager."))
    stands = hurdle(entry)
    if stands and not _sent_again(request, entry):
        return render(request, "desk/mend.html", {"entry": entry, "hurdle": stands, "slip": _slip(entry)})
    tool = _MENDERS[entry.kind](request, entry)
    form = tool.form
    form.fields["reason"] = forms.CharField(
        label=_("why"), max_length=200, required=False, initial=_(REASON), help_text=_("stays in the journal")
    )
    question = None
    if request.method == "POST" and form.is_valid():
        question = getattr(form, "question", None)
        if question is None:
            data = form.cleaned_data
            try:
                made = mend(entry, data["key"], data.get("reason", ""), who(request), tool.record)
            except InputError as error:
                form.add_error(None, str(error))
            else:
                messages.success(request, _("Mended: the old entry is taken back, the new one is saved."))
                return tool.after(made)
    context = {"entry": entry, "form": form, "title": tool.title, "question": question, "slip": _slip(entry)}
    return render(request, "desk/mend.html", context, status=400 if form.errors else 200)


def _sent_again(request: HttpRequest, entry: Entry) -> bool:
    """A mended form that comes twice is let through: it is answered as the first time."""
    return request.method == "POST" and Entry.objects.filter(reverses=entry).exists()


def _slip(entry: Entry) -> Delivery | None:
    return Delivery.objects.filter(pk=entry.pk).first() if entry.kind == "delivery" else None


def _plain(value: float) -> str:
    return f"{value:.10g}"


def _start(entry: Entry, **told: Any) -> dict[str, Any]:
    at = entry.happened_at.astimezone(timezone.get_current_timezone())
    return {"at": moment_text(at), **told}


def _delivery(request: HttpRequest, entry: Entry) -> Mender:
    station, facts = need_station(), entry.facts
    old = Delivery.objects.select_related("grower").get(pk=entry.pk)
    tin: list[Any] = facts["containers"][0] if facts["containers"] else ["", 0]
    known = station.gate.container(str(tin[0])) is not None
    start = _start(
        entry, grower=str(old.grower), species=facts["lot"]["species"], route=facts["lot"]["route"],
        gross=typed_kg(facts["gross_g"]), tare="" if known else typed_kg(facts["tare_g"]),
        container=tin[0] if known else "", count=str(tin[1]) if known else "",
        ripe=facts["ripe_percent"], floats=facts["float_percent"],
    )  # fmt: skip
    form = GateForm(station, request.POST or None, request.FILES or None, initial=start)
    gathering = Lot.objects.filter(stage=Stage.GATHERING).values_list("code", flat=True)
    form.fields["lot"] = forms.ChoiceField(
        label=_("lot"),
        required=False,
        choices=[("", _("by the station's rule")), *((c, c) for c in gathering)],
    )

    def record() -> Delivery:
        data = form.cleaned_data | {"photo_before": facts.get("photo", "")}
        return take_in(data, form.moment(), station, who(request))

    return Mender(form, record, lambda made: redirect("slip", pk=made.pk), _("Mend slip %d") % entry.pk)


def _typed(value: Any, is_mass: bool) -> Any:
    """A step's detail as its field asks for it."""
    if is_mass:
        return typed_kg(value * 1000)
    return _plain(value) if isinstance(value, float) else value


def _step(request: HttpRequest, entry: Entry) -> Mender:
    station, facts = need_station(), entry.facts
    lot = get_object_or_404(Lot, code=facts["code"])
    kind = facts["kind"]
    asks = asked_here(find_step(kind).asks, station)
    masses = {ask.name for ask in asks if ask.kind == "kilograms"}
    told = {k: _typed(v, k in masses) for k, v in facts["details"].items()}
    form = StepForm(asks, station, request.POST or None, initial=_start(entry, **told))

    def record() -> Any:
        fresh = Lot.objects.get(pk=lot.pk)
        key = form.cleaned_data["key"]
        return take_step(fresh, kind, key, form.stated(), who(request), form.details(), station)

    def after(_made: Any) -> HttpResponse:
        return redirect("lot", code=lot.code)

    return Mender(form, record, after, _("Mend a step of %s") % lot.code)


def _reading(request: HttpRequest, entry: Entry) -> Mender:
    facts = entry.facts
    lot = get_object_or_404(Lot, code=facts["code"])
    start = _start(
        entry, moisture=_plain(round(100 * facts["moisture_wb"], 6)), method=facts["method"],
        bean_temp="" if facts["bean_temp_c"] is None else _plain(facts["bean_temp_c"]),
    )  # fmt: skip
    form = ReadingForm(request.POST or None, initial=start)

    def record() -> Any:
        data = form.cleaned_data
        return record_reading(
            Lot.objects.get(pk=lot.pk), data["key"], data["moisture"], data["method"], data["bean_temp"],
            form.stated(), who(request),
        )  # fmt: skip

    return Mender(form, record, lambda _made: redirect("lot", code=lot.code), _("Mend a reading"))


_ACTS = {"payment": "pay", "advance": "pay", "cost": "cost", "receipt": "receipt", "by-product": "aside"}


def _money(request: HttpRequest, entry: Entry) -> Mender:
    money, facts = need_station().money, entry.facts
    act = _ACTS[entry.kind]
    told = {k: v for k, v in facts.items() if k in {"grower", "note", "buyer", "what"}}
    coins = facts["amount"] / 10**money.decimals
    told |= {"amount": f"{coins:.{money.decimals}f}" if facts["amount"] else "", "kind": entry.kind}
    told["lots"] = " ".join(facts.get("lots", ()))
    if act == "aside":
        wb = facts["moisture_wb"]
        told |= {
            "mass": typed_kg(facts["mass_g"]),
            "moisture": "" if wb is None else _plain(round(100 * wb, 6)),
        }
    form = FORMS[act](request.POST or None, initial=_start(entry, **told))
    if act == "aside":
        form.fields["what"].choices = [(facts["what"], facts["what"])]  # type: ignore[attr-defined]

    def record() -> Any:
        return do_money(act, form.cleaned_data, form, money, who(request))

    return Mender(form, record, lambda _made: redirect("money"), _("Mend: %s") % entry.summary)


def _bench(request: HttpRequest, entry: Entry) -> Mender:
    facts = entry.facts
    kind, told, sample = facts["kind"], facts["told"], facts["sample"]
    form: Any
    if kind == "count":
        rules = known_scheme(told["scheme"])
        start = {f"n_{rules.code_now(c)}": n for c, n in told["counts"].items()}
        start |= {f"g_{rules.code_now(c)}": _plain(g) for c, g in told["masses_g"].items()}
        start |= {"sample_g": _plain(told["sample_g"]), "quakers": told["quakers"]}
        form = CountForm(rules, request.POST or None, initial=_start(entry, **start))
    elif kind in sheet_forms():
        form = sheet_forms()[kind](request.POST or None, initial=_start(entry, **_typed_again(told)))
    else:
        raise InputError(
            "is not typed on a form; take it back and make it anew.", say("entry {pk}", pk=entry.pk)
        )

    def record() -> Any:
        return record_sheet(
            kind, form.told(), form.cleaned_data["key"], form.stated(), who(request), sample=sample
        )

    return Mender(
        form, record, lambda _made: redirect("sample", number=sample), _("Mend a sheet of sample %d") % sample
    )


def _typed_again(told: dict[str, Any]) -> dict[str, Any]:
    """A sheet's values as its form asks for them: lists one a line."""
    found = dict(told)
    found["screens"] = "\n".join(f"{n} {_plain(g)}" for n, g in told.get("screens_g", {}).items())
    for name in ("replicates", "masses_g", "hundred_g"):
        if isinstance(told.get(name), list):
            found[name] = "; ".join(_plain(v) for v in told[name])
    found["pairs"] = "\n".join(f"{_plain(a)} {_plain(b)}" for a, b in told.get("pairs", []))
    return found


_MENDERS: dict[str, Callable[[HttpRequest, Entry], Mender]] = {
    "delivery": _delivery, "step": _step, "reading": _reading, "bench": _bench,
    **dict.fromkeys(_ACTS, _money),
}  # fmt: skip


class HandForm(Keyed):
    """Whose a delivery is."""

    grower = forms.CharField(label=gettext_lazy("the grower it belongs to"), max_length=90)
    reason = forms.CharField(label=gettext_lazy("reason"), max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["at"]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
def to_other_grower(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a delivery to another grower, also when its lot has moved on."""
    delivery = get_object_or_404(Delivery.objects.select_related("grower", "entry"), pk=pk)
    if not may_mend(request, delivery.entry):
        raise NotAllowedError(_("Only your own last entry can be mended by you. Ask the owner or a manager."))
    form = HandForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            to = find_grower({"grower": data["grower"], "new_grower": False}, who(request))
            hand_over(delivery, to, data["reason"], data["key"], who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Slip %(slip)d is now %(who)s's.") % {"slip": pk, "who": to})
            return redirect("slip", pk=pk)
    context = {"form": form, "title": _("Slip %d belongs to another grower") % pk, "slip": delivery}
    return render(request, "desk/mend.html", context, status=400 if form.errors else 200)
