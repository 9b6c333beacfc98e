"""The pad beside the roaster: large keys, a tap an event; what is typed stays though the phone or power
goes."""

from __future__ import annotations

import time
import uuid
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from drydown.books.bench.sheets import record_sheet, sample_of
from drydown.books.models import Happening
from drydown.books.numbers import parse_decimal
from drydown.desk.context import need_station
from drydown.desk.people import guarded, told, who
from drydown.desk.probelive import KEPT_S, MOST_S, ensure, followed, pads, shown_of
from drydown.desk.roastpad import ahead_of, minutes, picture_of
from drydown.desk.roastview import roaster_of
from drydown.desk.views.forms import Plain
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.outlook.cautions import FIRST, at_other, cautions
from drydown.station.roasters import Roaster
from drydown.words import say

__all__ = ["roast_pad"]

RISE_C, RISE_C_S = 8.0, 1.5
"""A probe rises by at most so much at once, and so much a second (own choice; roasts rise by a quarter)."""


class BeginForm(forms.Form):
    """Beans in."""

    roaster = forms.ChoiceField(label=_("roaster"))
    green_g = Plain(20, 500_000, "g", label=_("green in, g"))
    green_percent = Plain(5, 20, "%", label=_("its moisture, % wb"))
    charge_c = Plain(20, 350, "C", label=_("roaster when filled, C"))

    def __init__(self, roasters: tuple[Roaster, ...], *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["roaster"].choices = [(r.name, r.name) for r in roasters]  # type: ignore[attr-defined]


class OutForm(forms.Form):
    """Weighed once it is out and cool."""

    roasted_g = Plain(10, 500_000, "g", label=_("roasted out, g"), required=False)
    roasted_percent = Plain(0, 15, "%", label=_("its moisture, % wb"), required=False)
    lightness = Plain(0, 100, "", label=_("colour of the ground coffee, L*"), required=False)


@require_http_methods(["GET", "HEAD", "POST"])
@answered
@guarded("samples.taken")
def roast_pad(request: HttpRequest, number: int) -> HttpResponse:
    """Begin, read, tap, take out, weigh."""
    sample = sample_of(number)
    # one roast of a sample at a time, whoever holds the phone
    name = f"roastpad-{sample.entry_id}-{sample.lot.code}-{sample.happened_at:%y%m%d%H%M%S}"
    state: dict[str, Any] | None = pads.get(name)
    trouble = ""
    if request.method == "POST":
        try:
            done = _tap(request, sample, name, state)
        except InputError as error:
            done, trouble = None, str(error)
        if done is not None:
            return done
        state = pads.get(name)
    return _page(request, sample, name, state, trouble)


def _tap(
    request: HttpRequest, sample: Happening, name: str, state: dict[str, Any] | None
) -> HttpResponse | None:
    """What a tap does; None where its form must be shown again."""
    what = request.POST.get("what", "")
    if what == "drop_log":
        pads.delete(name)
        return redirect("roast-pad", number=sample.entry_id)
    if state is None:
        return _begin(request, sample, name)
    at = round(min(time.time() - state["begun"], MOST_S), 1)
    if what == "weigh":
        return _weigh(request, sample, name, state)
    if "drop_s" in state:
        raise InputError(say("is out already."), "the roast")
    if what == "read":
        value = float(parse_decimal(request.POST.get("probe_c", ""), str(_now("probe, C"))))
        _plausible(state, at, value)
        state["readings"].append([at, value])
    elif what == "out":
        state["drop_s"] = max(at, 10.0)
        state["events"].append([str(_now("out")), state["drop_s"]])
    elif what == "event":
        state["events"].append([request.POST.get("event", "")[:40], at])
    else:
        raise InputError(say("is not known here."), "tap")
    pads.set(name, state, KEPT_S)
    return redirect("roast-pad", number=sample.entry_id)


def _plausible(state: dict[str, Any], at: float, value: float) -> None:
    """Refuse what no probe does: a typing slip would move the whole curve."""
    if not -20.0 <= value <= 300.0:
        raise InputError(say("must be from -20 to 300 C, got {v:g}.", v=value), "probe")
    before, since = state["charge_c"], at
    seen, _odd = followed(state)
    if seen:
        before, since = seen[-1][1], at - seen[-1][0]
    if value - before > RISE_C + RISE_C_S * since:
        raise InputError(
            say("{v:g} C, {s:.0f} s after {b:g} C, rises quicker than beans do.", v=value, s=since, b=before),
            "probe", "A slip of the finger? Type it again.",
        )  # fmt: skip


def _begin(request: HttpRequest, sample: Happening, name: str) -> HttpResponse | None:
    form = BeginForm(need_station().equipment.roasters, request.POST, label_suffix="")
    if not form.is_valid():
        return None
    roaster = roaster_of(need_station(), form.cleaned_data["roaster"])
    if roaster is not None:
        roaster.refuse(form.cleaned_data["green_g"] / 1000.0, form.cleaned_data["charge_c"])
    begun = {"begun": time.time(), "readings": [], "events": [], "key": str(uuid.uuid4())}
    pads.set(name, {**form.cleaned_data, **begun}, KEPT_S)
    return redirect("roast-pad", number=sample.entry_id)


def _weigh(request: HttpRequest, sample: Happening, name: str, state: dict[str, Any]) -> HttpResponse | None:
    form = OutForm(request.POST, label_suffix="")
    if not form.is_valid() or "drop_s" not in state:
        return None
    names = ("roaster", "green_g", "green_percent", "charge_c", "drop_s", "readings", "events")
    readings, remarks = followed(state)
    sheet = {k: state[k] for k in names} | {"readings": readings, "remarks": remarks}
    sheet |= {k: v for k, v in form.cleaned_data.items() if v is not None}
    roaster = roaster_of(need_station(), state["roaster"])
    sheet["probe"] = roaster.probe if roaster else ""
    kept = record_sheet("roast", sheet, uuid.UUID(state["key"]), None, who(request), sample=sample.entry_id)
    pads.delete(name)
    told(request, _now("Recorded: roasted."), kept.entry_id)
    return redirect("sample", number=sample.entry_id)


def _page(
    request: HttpRequest, sample: Happening, name: str, state: dict[str, Any] | None, trouble: str = ""
) -> HttpResponse:
    station = need_station()
    roasters = station.equipment.roasters
    posted = request.POST if request.method == "POST" else None
    context: dict[str, Any] = {
        "sample": sample, "state": state, "cautions": cautions(*at_other("roasting")), "local_first": FIRST,
        "roasters": roasters, "trouble": trouble,
    }  # fmt: skip
    if state is None:
        first = roasters[0] if roasters else None
        known = sample.lot.known_wb
        start = {"charge_c": first.charge_c if first else None,
                 "green_percent": round(100.0 * known, 1) if known else None}  # fmt: skip
        form: forms.Form = BeginForm(roasters, posted, initial=start, label_suffix="")
    else:
        form = OutForm(posted, label_suffix="")
        roaster = roaster_of(station, state["roaster"])
        if roaster is not None:
            ensure(name, state, roaster)
        readings, remarks = followed(state)
        state = {**state, "readings": shown_of(readings)}
        now = state.get("drop_s", min(time.time() - state["begun"], MOST_S))
        ahead = ahead_of(roaster, state) if roaster else None
        out = ahead.figures.get("out") if ahead else None
        expected = None
        if ahead is not None:
            k = int(min(now // 0.5 + 60, ahead.seconds.size - 1))
            expected = round(float(ahead.probe_c[1, k]))
        last = state["readings"][-1] if state["readings"] else None
        context |= {
            "clock": minutes(now), "roaster": roaster, "ahead": ahead, "expected": expected,
            "out": [minutes(v) for v in (out.value, out.low, out.high)] if out else None,
            "picture": picture_of(state, ahead, now, state["events"]),
            "events": [(n, minutes(t)) for n, t in state["events"]],
            "remarks": remarks, "state": state,
            "last": (last[1], minutes(last[0])) if last else None,
        }  # fmt: skip
    context["form"] = form
    weighing = posted is not None and posted.get("what") in {"in", "weigh"}
    bad = bool(trouble) or (weighing and bool(form.errors))
    return render(request, "desk/roastpad.html", context, status=400 if bad else 200)
