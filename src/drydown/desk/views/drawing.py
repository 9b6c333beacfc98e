"""How to draw a sample: bags, increments, trier; attribute plans and when to tighten."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from drydown.desk.people import guarded
from drydown.desk.views.forms import Plain
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.quality.attributes import AQLS, LEVELS, attribute_plan, plan_curve, severity_after
from drydown.quality.sampling import draw_plan, rule_words, sampling_rules, trier
from drydown.words import say

__all__ = ["drawing"]


_CHOOSE = ("", _("choose"))


class DrawForm(forms.Form):
    """A lot to draw from."""

    bags = Plain(1, 100_000, "", label=_("bags in the lot"))
    rule = forms.ChoiceField(
        label=_("rule"), choices=[_CHOOSE, *((r, rule_words(r)) for r in sampling_rules())]
    )
    form = forms.ChoiceField(
        label=_("coffee is"), choices=[_CHOOSE, ("green", _("green")), ("parchment", _("parchment"))]
    )


class AttributeForm(forms.Form):
    """Items to look at one by one: bags, pallets, sacks."""

    items = Plain(2, 10_000_000, "", label=_("items in the lot"))
    aql = forms.ChoiceField(
        label=_("acceptance quality limit, %"), choices=[_CHOOSE, *((f"{a:g}", f"{a:g}") for a in AQLS)]
    )
    level = forms.ChoiceField(
        label=_("inspection level"),
        choices=[_CHOOSE, *((v, v) for v in LEVELS)],
        help_text=_("II unless agreed otherwise"),
    )
    history = forms.CharField(
        label=_("lots before this one, oldest first"), max_length=200, required=False,
        help_text=_("a for accepted, n for not accepted: aaana"),
    )  # fmt: skip

    def clean_history(self) -> list[bool]:
        """Lots before, as yes and no."""
        text = "".join(self.cleaned_data["history"].split()).lower()
        if set(text) - {"a", "n"}:
            raise forms.ValidationError(_("Write only a and n."))
        return [c == "a" for c in text]


def _whole(value: float, what: str) -> int:
    if value % 1:
        raise InputError(say("{value:g} is not a whole number.", value=value), what)
    return int(value)


def _plan(data: dict[str, Any]) -> dict[str, Any]:
    severity = severity_after(data["history"])
    if severity.state == "stopped":
        return {"severity": severity}
    aql = float(data["aql"])
    plan = attribute_plan(_whole(data["items"], "items"), aql, data["level"], severity.state == "tightened")
    if plan.whole:
        return {"severity": severity, "plan": plan}
    shares = [k * aql / 100 for k in (1, 2, 4, 8)]
    chances = plan_curve(plan.size, plan.accept, shares, _whole(data["items"], "items"))
    curve = zip((100 * s for s in shares), chances, strict=True)
    return {"severity": severity, "plan": plan, "curve": [(s, 100 * p) for s, p in curve]}


@require_safe
@answered
@guarded("samples.taken")
def drawing(request: HttpRequest) -> HttpResponse:
    """Both calculators on one page; nothing is kept."""
    first = DrawForm(request.GET if "bags" in request.GET else None, label_suffix="")
    second = AttributeForm(request.GET if "items" in request.GET else None, label_suffix="")
    context: dict[str, Any] = {"draw": first, "attribute": second}
    try:
        if first.is_valid():
            data = first.cleaned_data
            context["drawn"] = draw_plan(_whole(data["bags"], "bags"), data["rule"])
            context["trier"] = trier(data["form"])
    except InputError as error:
        first.add_error(None, str(error))
    try:
        if second.is_valid():
            context |= _plan(second.cleaned_data)
    except InputError as error:
        second.add_error(None, str(error))
    bad = bool(first.errors or second.errors)
    return render(request, "desk/drawing.html", context, status=400 if bad else 200)
