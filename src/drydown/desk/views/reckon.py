"""Reckoning that writes nothing: moisture and air, mass at another moisture, a pulper's test, parchment."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from drydown.desk.context import need_station
from drydown.desk.people import guarded
from drydown.desk.views.forms import Plain
from drydown.desk.views.problem import answered
from drydown.errors import InputError
from drydown.figures import Band, Figure, Source, Status
from drydown.outlook.cautions import FIRST, at_command
from drydown.outlook.moisture import balance_moisture, mass_at, sealed_dew_point, water_activity
from drydown.outlook.rules import RuleCheck, check_rules
from drydown.quality.pulper import pulper_by_outlet, pulper_by_output
from drydown.trade.prices import parchment_price
from drydown.words import say

__all__ = ["reckon"]

_CHOOSE = ("", _("choose"))
_FORMS = [
    _CHOOSE, ("parchment", _("parchment")), ("mucilage", _("with mucilage")), ("cherry", _("whole cherry")),
    ("green", _("green")),
]  # fmt: skip


class Sum(forms.Form):
    """One reckoning: `act` names it, `work` gives its figures."""

    act = ""
    title: Any = ""

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, label_suffix="", auto_id=f"id_{self.act}_%s")

    def work(self) -> tuple[dict[str, Figure], list[RuleCheck]]:
        """Figures by name, and the rules a moisture is held against."""
        raise NotImplementedError


class MoistureSum(Sum):
    """What a moisture means in an air, and what an air makes of coffee."""

    act, title = "moisture", _("Moisture and air")
    form = forms.ChoiceField(label=_("coffee is"), choices=_FORMS)
    species = forms.ChoiceField(label=_("species"))
    temp = Plain(5, 55, "C", label=_("temperature of coffee and air, C"))
    wb = Plain(3, 60, "% wb", label=_("moisture, % wet basis"), required=False)
    rh = Plain(1, 99, "%", label=_("humidity of the air, %"), required=False)

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        kinds = need_station().species
        self.fields["species"].choices = [_CHOOSE, *((s, s) for s in kinds)]  # type: ignore[attr-defined]

    def work(self) -> tuple[dict[str, Figure], list[RuleCheck]]:
        """Balance moisture for an air; water activity, dew point and rules for a moisture."""
        d = self.cleaned_data
        found: dict[str, Figure] = {}
        if d["rh"] is None and d["wb"] is None:
            raise InputError(_now("Give a moisture, or the humidity of the air, or both."))
        if d["rh"] is not None:
            name = _now("moisture in balance with that air")
            found[name] = balance_moisture(d["temp"], d["rh"] / 100.0, d["species"], d["form"])
        if d["wb"] is None:
            return found, []
        wb = d["wb"] / 100.0
        found[_now("water activity")] = water_activity(wb, d["temp"], d["species"], d["form"])
        found[_now("dew point in a sealed lot")] = sealed_dew_point(wb, d["temp"])
        return found, check_rules(wb, d["temp"], d["form"], d["species"])


class MassSum(Sum):
    """Mass of the same dry matter at another moisture."""

    act, title = "mass", _("Mass at another moisture")
    mass = Plain(0.001, 1_000_000, "kg", label=_("mass, kg"))
    before = Plain(0, 80, "% wb", label=_("moisture now, % wet basis"))
    after = Plain(0, 80, "% wb", label=_("other moisture, % wet basis"))

    def work(self) -> tuple[dict[str, Figure], list[RuleCheck]]:
        """The mass there."""
        d = self.cleaned_data
        name = _now("mass at the other moisture")
        return {name: mass_at(d["mass"], d["before"] / 100.0, d["after"] / 100.0)}, []


class PulperSum(Sum):
    """A pulper's test, by either definition or both."""

    act, title = "pulper", _("A pulper's test")
    fruit = Plain(0.001, 100_000, "kg", label=_("ripe fruit put in, kg"))
    output = Plain(0.001, 100_000, "kg", label=_("all that left the bean side, kg"), required=False)
    unpulped = Plain(0, 100_000, "kg", label=_("whole fruit that came through, kg (0 if none)"))
    seconds = Plain(0.1, 1_000_000, "s", label=_("time of the run, s"), required=False)
    main = Plain(0.001, 100_000, "kg", label=_("parchment at the main outlet, kg"), required=False)
    pulp = Plain(0, 100_000, "kg", label=_("parchment found in the pulp, kg"), required=False)
    spilled = Plain(0, 100_000, "kg", label=_("parchment spilled, kg"), required=False)

    def work(self) -> tuple[dict[str, Figure], list[RuleCheck]]:
        """Figures by what left the bean side, and by outlet."""
        d = self.cleaned_data
        found: dict[str, Figure] = {}
        if d["output"] is not None and d["seconds"] is not None:
            made = pulper_by_output(d["fruit"], d["output"], d["unpulped"], d["seconds"])
            found |= {f"{k}, " + _now("by what left the bean side"): f for k, f in made.items()}
        if d["main"] is not None:
            if d["pulp"] is None or d["spilled"] is None:
                raise InputError(_now("Weigh the parchment in the pulp and what was spilled too; 0 if none."))
            made = pulper_by_outlet(d["fruit"], d["main"], d["pulp"], d["unpulped"], d["spilled"])
            found |= {f"{k}, " + _now("by outlet"): f for k, f in made.items()}
        if not found:
            raise InputError(_now("Give what left the bean side with the time, or the main outlet."))
        return found, []


class ParchmentSum(Sum):
    """A kilogram of parchment by its sound and defective beans."""

    act, title = "parchment", _("Price of parchment by its beans")
    sound = Plain(0, 10_000_000, "", label=_("price of sound beans, per kg"))
    defective = Plain(0, 10_000_000, "", label=_("price of defective beans, per kg"))
    sound_percent = Plain(0, 100, "%", label=_("sound beans, % of parchment"))
    defective_percent = Plain(0, 100, "%", label=_("defective beans, % of parchment"))

    def work(self) -> tuple[dict[str, Figure], list[RuleCheck]]:
        """The price."""
        d = self.cleaned_data
        parts = (d["sound_percent"] / 100.0, d["defective_percent"] / 100.0)
        made = parchment_price(d["sound"], d["defective"], *parts)
        rule = (
            "share of sound beans times their price, plus the same of defective beans; hulls are paid nothing"
        )
        told = {
            "sound": say(
                "{sound_percent:g} %, {sound:g} per kg", sound_percent=d["sound_percent"], sound=d["sound"]
            ),
            "defective": say(
                "{defective_percent:g} %, {defective:g} per kg",
                defective_percent=d["defective_percent"],
                defective=d["defective"],
            ),
        }
        source = Source("arithmetic of a parchment price sheet, Colombia, 21 August 2015", Status.DERIVED)
        unit = f"{need_station().money.currency} / kg"
        return {
            _now("price of parchment"): Figure(made, unit, made, made, Band.EXACT, rule, told, (source,))
        }, []


SUMS: tuple[type[Sum], ...] = (MoistureSum, MassSum, PulperSum, ParchmentSum)


@require_safe
@answered
@guarded("lots.way")
def reckon(request: HttpRequest) -> HttpResponse:
    """Reckonings side by side; the one that was asked for is answered, nothing is written."""
    asked, shown = request.GET.get("act", ""), []
    for make in SUMS:
        bound = asked == make.act
        form = make(request.GET) if bound else make()
        figures: dict[str, Figure] = {}
        rules: list[RuleCheck] = []
        if bound and form.is_valid():
            try:
                figures, rules = form.work()
            except InputError as error:
                form.add_error(None, str(error))
        shown.append((form, bound, figures, rules))
    failed = any(form.errors for form, *_rest in shown)
    context = {"sums": shown, "cautions": at_command("moisture"), "local_first": FIRST}
    return render(request, "desk/reckon.html", context, status=400 if failed else 200)
