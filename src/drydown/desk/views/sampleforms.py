"""Forms of the bench. Lists are typed one item a line, or with semicolons between."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from drydown.desk.views.fields import Numbers, Pairs
from drydown.desk.views.forms import Keyed, Plain
from drydown.desk.views.roastforms import BrewForm, GrindForm, RoastForm
from drydown.errors import InputError
from drydown.quality.meter import moisture_methods
from drydown.quality.scheme import Scheme
from drydown.quality.screens import tables
from drydown.words import say

__all__ = [
    "CountForm",
    "DensityForm",
    "HandedForm",
    "MoistureForm",
    "PhotoForm",
    "ScreensForm",
    "sheet_forms",
]


class CountForm(Keyed):
    """Pieces by defect of one scheme, and masses where the scheme weighs."""

    sample_g = Plain(0.1, 100_000, "g", label=_("mass counted, g"))

    def __init__(self, rules: Scheme, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rules = rules
        self.counted = [d for d in rules.defects if d.counts]
        self.weighed = [] if rules.kind == "equivalents" else list(rules.defects)
        for d in self.counted:
            label = _now("%(what)s, pieces") % {"what": d.words}
            self.fields[f"n_{d.code}"] = Plain(0, 100_000, "", label=label, required=False)
        for d in self.weighed:
            label = _now("%(what)s, g") % {"what": d.words}
            self.fields[f"g_{d.code}"] = Plain(0, 100_000, "g", label=label, required=False)
        if self.weighed:
            self.fields["unit"] = forms.ChoiceField(
                label=_now("masses are"),
                choices=[("g", _now("grams")), ("%", _now("per cent of the sample"))],
                required=False,  # a field's name says g: a form without the choice means grams
            )
            self.fields["rest_none"] = forms.BooleanField(
                label=_now("none found of all other classes"), required=False
            )
        self.fields["quakers"] = Plain(0, 10_000, "", label=_now("quakers, if counted"), required=False)
        self.fields["at"] = self.fields.pop("at")

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it; an empty field of a count is none found."""
        data = self.cleaned_data
        pieces = {d.code: data.get(f"n_{d.code}") for d in self.counted}
        odd = [d.words for d in self.counted if (pieces[d.code] or 0) % 1]
        if odd:
            raise InputError(say("{value}: pieces are whole numbers.", value=odd[0]), "count")
        counted = any(v is not None for v in pieces.values())
        factor = data["sample_g"] / 100.0 if data.get("unit") == "%" else 1.0
        masses = {
            d.code: data[f"g_{d.code}"] * factor for d in self.weighed if data.get(f"g_{d.code}") is not None
        }
        quakers = data.get("quakers")
        return {
            "scheme": self.rules.name, "sample_g": data["sample_g"], "masses_g": masses,
            "counts": {c: int(n or 0) for c, n in pieces.items()} if counted else {},
            "quakers": None if quakers is None else int(quakers),
            "rest_none": bool(data.get("rest_none")),
        }  # fmt: skip


class ScreensForm(Keyed):
    """Mass by sieve."""

    sieve = forms.ChoiceField(
        label=_("holes"), choices=[("round", _("round")), ("slotted", _("slots, for peaberries"))]
    )
    table = forms.ChoiceField(label=_("numbers are of"), choices=[(t, t) for t in tables()])
    by = forms.ChoiceField(
        label=_("held is"),
        choices=[
            ("mass", _("grams")),
            ("percent", _("per cent of what was put on")),
            ("count", _("pieces, counted")),
        ],
    )
    taken_g = Plain(0.1, 100_000, "", label=_("put on, g (or pieces)"))
    screens = Pairs(
        label=_("number of the sieve, and what it held"),
        help_text=_("one a line: 17 210; the pan too: pan 10. Slots by width in mm: 4.5 30"),
    )
    peaberry_g = Plain(0, 100_000, "g", label=_("peaberries sorted out, g (or pieces)"), required=False)

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it."""
        data = self.cleaned_data
        kept = {k: data[k] for k in ("sieve", "table", "by", "taken_g", "peaberry_g")}
        held = dict(data["screens"])
        if data["by"] == "percent":
            kept["by"] = "mass"
            held = {number: share / 100.0 * data["taken_g"] for number, share in held.items()}
        return {**kept, "screens_g": held}


class MoistureForm(Keyed):
    """Replicates by one method."""

    method = forms.ChoiceField(label=_("method and edition"))
    meter = forms.CharField(label=_("which meter"), max_length=60, required=False)
    replicates = Numbers(label=_("readings, % wet basis"))
    pairs = Pairs(
        first_is_number=True, required=False, label=_("meter beside oven, % wet basis"),
        help_text=_("three or more pairs correct the meter, one a line: 10.4 11.0"),
    )  # fmt: skip
    bean_temp_c = Plain(0, 80, "C", label=_("bean temperature, C"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["method"].choices = [("", _("choose")), *moisture_methods().items()]  # type: ignore[attr-defined]

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it."""
        return {k: self.cleaned_data[k] for k in ("method", "meter", "replicates", "pairs", "bean_temp_c")}


class DensityForm(Keyed):
    """Fillings of a vessel, counts of a hundred."""

    volume_l = Plain(0.05, 20, "L", label=_("vessel, litres"), required=False)
    masses_g = Numbers(
        label=_("fillings, g"), required=False, help_text=_("free flow, struck off: 352; 349; 351")
    )
    hundred_g = Numbers(
        label=_("100 beans, g"), required=False, help_text=_("one or more counts: 15.2; 15.5")
    )

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it."""
        return {k: self.cleaned_data[k] for k in ("volume_l", "masses_g", "hundred_g")}


class HandedForm(Keyed):
    """A part of the sample that goes into other hands."""

    part = forms.CharField(label=_("part"), max_length=60, help_text=_("for example: counter-test"))
    mass_g = Plain(0, 100_000, "g", label=_("mass, g"))
    to = forms.CharField(label=_("handed to"), max_length=80)
    mark = forms.CharField(label=_("seal or mark"), max_length=60, required=False)

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it."""
        return {k: self.cleaned_data[k] for k in ("part", "mass_g", "to", "mark")}


class PhotoForm(Keyed):
    """A photo of beans on a plain sheet with a card."""

    photo = forms.FileField(
        label=_("photo"), widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png"})
    )
    table = forms.ChoiceField(label=_("screens of"), choices=[(t, t) for t in tables()])


def sheet_forms() -> dict[str, type[Keyed]]:
    """Forms of the sheets that are typed on a sample's page, but for the count."""
    return {
        "screens": ScreensForm, "moisture": MoistureForm, "density": DensityForm, "handed": HandedForm,
        "roast": RoastForm, "grind": GrindForm, "brew": BrewForm,
    }  # fmt: skip
