"""Split a lot, join lots, and draw where a lot came from."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.lots.family import ancestors, descendants, join, split
from drydown.books.lots.states import lot_matter
from drydown.books.models import Lot
from drydown.books.numbers import parse_grams
from drydown.desk.context import need_station
from drydown.desk.family import family_svg
from drydown.desk.people import guarded, who
from drydown.desk.views.forms import Keyed
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.way.state import Stage

__all__ = ["family", "join_lots", "split_lot"]


class SplitForm(Keyed):
    """Weighed masses of the parts; the last part is what is left."""

    masses = forms.CharField(
        label=gettext_lazy("mass of each part but the last, kg"),
        max_length=200,
        help_text=gettext_lazy("one a line, or with semicolons between: 120; 85.5"),
        widget=forms.Textarea(attrs={"rows": 3, "inputmode": "decimal"}),
    )

    def clean_masses(self) -> list[float]:
        """Kilograms, each as typed at the gate."""
        parts = self.cleaned_data["masses"].replace(";", "\n").split("\n")
        try:
            return [parse_grams(p, "mass") / 1000.0 for p in parts if p.strip()]
        except InputError as error:
            raise forms.ValidationError(str(error)) from error


class JoinForm(Keyed):
    """The other lots to put together with this one."""

    lots = forms.MultipleChoiceField(
        label=gettext_lazy("lots to join with"), widget=forms.CheckboxSelectMultiple
    )

    bed = forms.ChoiceField(label=gettext_lazy("drying place of all together"))

    def __init__(self, others: list[Lot], beds: list[str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if beds:
            self.fields["bed"].choices = [("", _("choose")), *((b, b) for b in beds)]  # type: ignore[attr-defined]
        else:
            del self.fields["bed"]
        choices = [(o.code, f"{o.code}, {o.route_words()}, {o.bed or o.store}") for o in others]
        self.fields["lots"].choices = choices  # type: ignore[attr-defined]


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("lots.way")
def split_lot(request: HttpRequest, code: str) -> HttpResponse:
    """Split a lot by weight."""
    lot = get_object_or_404(Lot, code=code)
    form = SplitForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            made = split(lot, data["key"], data["masses"], form.stated(), who(request))
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Split into %s.") % ", ".join(child.code for child in made))
            return redirect("lot", code=made[0].code)
    context = {"form": form, "lot": lot, "title": _("Split lot %s") % code, "matter": lot_matter(lot)}
    return render(request, "desk/family.html", context, status=400 if form.errors else 200)


def _others(lot: Lot) -> list[Lot]:
    """Lots that could be joined with this one."""
    same = Lot.objects.filter(species=lot.species, stage=lot.stage).exclude(pk=lot.pk)
    if lot.stage not in {Stage.HULLED, Stage.SORTED}:
        same = same.filter(route=lot.route)
    return list(same[:60])


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("lots.way")
def join_lots(request: HttpRequest, code: str) -> HttpResponse:
    """Put a lot together with others of its kind."""
    lot = get_object_or_404(Lot, code=code)
    drying = lot.stage == Stage.DRYING
    beds = list(need_station().drying_places()) if drying else []
    form = JoinForm(_others(lot), beds, request.POST or None)
    if request.method == "POST" and form.is_valid():
        others = Lot.objects.filter(code__in=form.cleaned_data["lots"])
        parts: list[tuple[Lot, float | None]] = [(p, None) for p in (lot, *others)]
        try:
            bed = form.cleaned_data.get("bed", "")
            made = join(parts, form.cleaned_data["key"], form.stated(), who(request), bed)
        except InputError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Joined as %s.") % made.code)
            return redirect("lot", code=made.code)
    context = {"form": form, "lot": lot, "title": _("Join lot %s with others") % code}
    return render(request, "desk/family.html", context, status=400 if form.errors else 200)


@require_safe
@answered
@guarded("lots.way")
def family(request: HttpRequest, code: str) -> HttpResponse:  # noqa: ARG001
    """The family of a lot as a picture."""
    lot = get_object_or_404(Lot, code=code)
    svg = family_svg(lot.code, ancestors(lot), descendants(lot))
    response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response
