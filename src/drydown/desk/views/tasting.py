"""Tastings: open a session, one sheet a seat, results with their doubt."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from drydown.books.bench.sheets import lots_sampled, session_of
from drydown.books.bench.tastings import keep_tasting, open_session, results, taken_seats
from drydown.books.models import BenchSheet
from drydown.desk.people import guarded, may_here, who
from drydown.desk.views.forms import Keyed, Plain
from drydown.desk.views.problem import answered
from drydown.errors import DrydownError, InputError
from drydown.quality.cup import attributes, off_notes, preparation
from drydown.words import say

__all__ = ["open_tasting", "sheet", "tasting_page"]


class SessionForm(Keyed):
    """What is tasted, by how many, how often."""

    name = forms.CharField(label=gettext_lazy("name of the session"), max_length=60)
    samples = forms.MultipleChoiceField(
        label=gettext_lazy("samples, two to twelve"), widget=forms.CheckboxSelectMultiple
    )
    twice = forms.ChoiceField(
        label=gettext_lazy("served twice under two codes"), required=False,
        help_text=gettext_lazy("shows how well each taster repeats"),
    )  # fmt: skip
    roast = forms.ChoiceField(
        label=gettext_lazy("roast, the same for all"),
        choices=[
            ("", gettext_lazy("choose")), ("light", gettext_lazy("light, to look for defects")),
            ("medium", gettext_lazy("medium, for flavour and colour")),
        ],
    )  # fmt: skip
    seats = Plain(1, 40, "", label=gettext_lazy("tasters"))
    cups = Plain(
        1,
        10,
        "",
        label=gettext_lazy("cups of each sample"),
        help_text=gettext_lazy("three or more tell of evenness"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = [(str(h.entry_id), f"{h.entry_id}: {h.lot.code}") for h in lots_sampled(60)]
        self.fields["samples"].choices = rows  # type: ignore[attr-defined]
        self.fields["twice"].choices = [("", "-"), *rows]  # type: ignore[attr-defined]


class TastingForm(Keyed):
    """One seat's sheet: a line for each attribute of each code, cups with an off-note, words."""

    taster = forms.CharField(label=gettext_lazy("your name or number"), max_length=60)

    def __init__(self, session: BenchSheet, seat: int, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.session, self.seat = session, seat
        self.order: list[str] = session.told["orders"][seat - 1]
        notes = [("", _("clean")), *off_notes().items()]
        for code in self.order:
            for name, words in attributes().items():
                self.fields[f"m_{code}_{name}"] = Plain(0, 10, "", label=f"{code}, {words}", required=False)
                self.fields[f"m_{code}_{name}"].widget.attrs["class"] = "line"
            for cup in range(1, session.told["cups"] + 1):
                label = _("%(code)s, cup %(n)d") % {"code": code, "n": cup}
                self.fields[f"o_{code}_{cup}"] = forms.ChoiceField(label=label, choices=notes, required=False)
                strengths = [("1", _("slight")), ("2", _("clear")), ("3", _("strong"))]
                self.fields[f"s_{code}_{cup}"] = forms.ChoiceField(
                    label=_("%(code)s, cup %(n)d, how strong") % {"code": code, "n": cup},
                    choices=[("", "-"), *strengths],
                    required=False,
                )
            self.fields[f"w_{code}"] = forms.CharField(label=_("in words"), max_length=300, required=False)

    def groups(self) -> list[tuple[str, list[Any], list[tuple[Any, Any]], Any]]:
        """For the page: code, its lines, its cups, its words, in the order of this seat."""
        cups = range(1, self.session.told["cups"] + 1)
        return [
            (
                code, [self[f"m_{code}_{name}"] for name in attributes()],
                [(self[f"o_{code}_{cup}"], self[f"s_{code}_{cup}"]) for cup in cups], self[f"w_{code}"],
            )
            for code in self.order
        ]  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """An off-note needs its strength, and a strength its note."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        for name in [n for n in self.fields if n.startswith("o_")]:
            if bool(data.get(name)) != bool(data.get(f"s_{name[2:]}")):
                self.add_error(f"s_{name[2:]}", _("Choose both the off-note and how strong it is."))
        return data

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it; lines that were not marked stay out."""
        data, off = self.cleaned_data, dict[str, dict[str, dict[str, int]]]()
        marks = {
            code: {n: data[f"m_{code}_{n}"] for n in attributes() if data.get(f"m_{code}_{n}") is not None}
            for code in self.order
        }
        for code in self.order:
            for cup in range(1, self.session.told["cups"] + 1):
                if data.get(f"o_{code}_{cup}"):
                    note = {data[f"o_{code}_{cup}"]: int(data[f"s_{code}_{cup}"])}
                    off.setdefault(code, {})[str(cup)] = note
        words = {code: data[f"w_{code}"] for code in self.order if data.get(f"w_{code}")}
        return {
            "taster": data["taster"].strip(),
            "seat": self.seat,
            "marks": marks,
            "off": off,
            "words": words,
        }


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("samples.taken", write=True)
def open_tasting(request: HttpRequest) -> HttpResponse:
    """Open a session."""
    form = SessionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            if data["seats"] % 1 or data["cups"] % 1:
                raise InputError("tasters and cups are whole numbers.", "tasting")
            made = open_session(
                data["name"], [int(n) for n in data["samples"]], int(data["seats"]), int(data["cups"]),
                int(data["twice"]) if data["twice"] else None, data["roast"], data["key"], form.stated(),
                who(request),
            )  # fmt: skip
        except DrydownError as error:
            form.add_error(None, str(error))
        else:
            return redirect("tasting", number=made.entry_id)
    steps, source = preparation()
    context = {"form": form, "steps": steps, "source": source}
    return render(request, "desk/tasting_new.html", context, status=400 if form.errors else 200)


@require_safe
@answered
@guarded("samples.taken")
def tasting_page(request: HttpRequest, number: int) -> HttpResponse:
    """Seats, and results once all have answered or when they are asked for."""
    session = session_of(number)
    seats, count = taken_seats(number), len(session.told["orders"])
    may_open = may_here(request, "journal.undo", write=True)
    shown = len(seats) == count or ("open" in request.GET and bool(seats) and may_open)
    steps, source = preparation()
    context = {
        "session": session, "seats": [(i, seats.get(i, "")) for i in range(1, count + 1)], "shown": shown,
        "steps": steps, "source": source, "may_open": may_open, "notes": off_notes(), "labels": attributes(),
    }  # fmt: skip
    if shown:
        found = results(number)
        context["found"] = found
        context["tables"] = [
            (attributes()[a.name], list(zip(a.samples, a.means, a.lows, a.highs, strict=True)), a.words)
            for a in found.attributes
        ]
        context["off"] = [
            (row, [(off_notes()[n], k) for n, k in row.notes.items()]) for row in found.off
        ]  # fmt: skip
    return render(request, "desk/tasting.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("samples.taken", write=True)
def sheet(request: HttpRequest, number: int, seat: int) -> HttpResponse:
    """One seat's sheet."""
    session = session_of(number)
    if not 1 <= seat <= len(session.told["orders"]):
        raise InputError(say("there is no seat {seat}.", seat=seat), session.told["name"])
    form = TastingForm(session, seat, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            keep_tasting(number, form.told(), form.cleaned_data["key"], form.stated(), who(request))
        except DrydownError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Saved. Thank you."))
            return redirect("tasting", number=number)
    context = {"form": form, "session": session, "seat": seat}
    return render(request, "desk/tasting_sheet.html", context, status=400 if form.errors else 200)
