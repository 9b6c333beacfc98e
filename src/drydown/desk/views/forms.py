"""Forms of the gate and of a lot. Mistakes come back with what was typed still there."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from drydown.books.journal.write import Who
from drydown.books.lots.gate import MAX_DELIVERY_G
from drydown.books.lots.improbable import Question, question_about
from drydown.books.lots.weighing import find_grower, swapped
from drydown.books.moments import read_moment
from drydown.books.numbers import parse_decimal, parse_grams
from drydown.errors import InputError
from drydown.station.model import Station
from drydown.way.ask import Ask, things
from drydown.way.yard import Spot, Yard

__all__ = ["AirForm", "GateForm", "ReadingForm", "StepForm"]

DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}


class Typed(forms.CharField):
    """A number typed with point or comma; `read` makes it a value or says what is wrong."""

    def __init__(self, **more: Any) -> None:
        super().__init__(max_length=20, widget=forms.TextInput(attrs=dict(DECIMAL)), **more)

    def read(self, text: str) -> Any:
        """The value of the text."""
        return float(parse_decimal(text, str(self.label)))

    def clean(self, value: Any) -> Any:
        """The value, or None when empty and not needed."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return self.read(text)
        except InputError as error:
            raise forms.ValidationError(f"{error.what} {error.fix}") from error


class Kilograms(Typed):
    """Kilograms; the value is in whole grams."""

    def read(self, text: str) -> Any:
        """Whole grams."""
        return parse_grams(text, str(self.label))


class Plain(Typed):
    """A number between bounds."""

    def __init__(self, low: float, high: float, unit: str, **more: Any) -> None:
        self.low, self.high, self.unit = low, high, unit
        super().__init__(**more)

    def read(self, text: str) -> Any:
        """The number, refused outside the bounds."""
        number = super().read(text)
        if not self.low <= number <= self.high:
            raise forms.ValidationError(
                _("must be from %(low)s to %(high)s, got %(number)s."),
                params={
                    "low": f"{self.low:.12g}", "high": f"{self.high:.12g} {self.unit}".strip(),
                    "number": f"{number:.12g}",
                },
            )  # fmt: skip
        return number


class WhenField(forms.CharField):
    """A time in the station's own hours, typed as it is shown; empty is now."""

    def __init__(self, **more: Any) -> None:
        more.setdefault("label", _("when"))
        more.setdefault("help_text", _("empty: now. Else 26 Nov 09:30, or 09:30 for today"))
        attrs = {"autocomplete": "off", "placeholder": _("now")}
        super().__init__(max_length=40, required=False, widget=forms.TextInput(attrs=attrs), **more)

    def clean(self, value: Any) -> Any:
        """The aware moment, or None for now."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return read_moment(text, timezone.now(), timezone.get_current_timezone())
        except InputError as error:
            raise forms.ValidationError(f"{error.what} {error.fix}") from error


class Keyed(forms.Form):
    """A form with a key of its own, so that sending it twice keeps it once, and a time."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    at = WhenField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {}).setdefault("key", uuid.uuid4())
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        self.fields["at"] = self.fields.pop("at")  # the time stands last

    def full_clean(self) -> None:
        """Check, then tie each message to its field for those who hear the page."""
        super().full_clean()
        if "key" in self.errors:
            self._renew_key()
        for name in self.errors:
            if name in self.fields:
                self.fields[name].widget.attrs["aria-invalid"] = "true"
                self.fields[name].widget.attrs["aria-describedby"] = f"id_{name}_error"

    def _renew_key(self) -> None:
        """A form whose hidden key was lost gets a new one and says so."""
        del self.errors["key"]
        self.data = {**self.data.dict(), "key": str(uuid.uuid4())}  # type: ignore[attr-defined]
        self.add_error(None, _("The form had lost its key; nothing was saved. Send it again."))

    def moment(self) -> datetime:
        """When it happened: as stated, else now."""
        return self.stated() or timezone.now()

    def stated(self) -> datetime | None:
        """When it happened, where someone said so."""
        found: datetime | None = self.cleaned_data.get("at")
        return found


class AirForm(Keyed):
    """Outdoor air as somebody read it."""

    temp_c = Plain(-10, 60, "C", label=_("air temperature, C"))
    rh_percent = Plain(2, 100, "%", label=_("air humidity, %"))


class GateForm(Keyed):
    """One weighing."""

    grower = forms.CharField(
        label=_("grower"),
        max_length=90,
        help_text=_("number or name"),
        widget=forms.TextInput(attrs={"list": "growers", "autocomplete": "off"}),
    )
    sure = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20)
    new_grower = forms.BooleanField(label=_("this is a new grower"), required=False)
    village = forms.CharField(label=_("village (new grower)"), max_length=80, required=False)
    species = forms.ChoiceField(label=_("species"), widget=forms.RadioSelect)
    route = forms.ChoiceField(label=_("route"), widget=forms.RadioSelect)
    gross = Kilograms(label=_("gross weight, kg"))
    tare = Kilograms(label=_("empty container, kg"), required=False, help_text=_("0 if the scale was tared"))
    container = forms.ChoiceField(label=_("containers"), required=False)
    count = Plain(0, 500, "", label=_("how many"), required=False)
    ripe = Plain(0, 100, "%", label=_("ripe fruit, %"), required=False, help_text=_("if counted"))
    photo = forms.FileField(
        label=_("photo"),
        required=False,
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png"}),
    )
    floats = Plain(
        0, 100, "%", label=_("floaters, %"), required=False, help_text=_("if a sample was floated")
    )

    def __init__(self, station: Station, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.station = station
        self._offer("species", [(s, s) for s in station.species])
        self._offer("route", [(r, r.replace("_", " ")) for r in station.routes])
        self.question: Question | None = None
        tins = [(c.name, f"{c.name}, {c.tare_kg:g} kg") for c in station.gate.containers]
        self.fields["container"].choices = [("", "-"), *tins]  # type: ignore[attr-defined]
        if len(tins) == 1:
            self.initial.setdefault("container", tins[0][0])

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        """Answers of a field that is picked; the only one is picked already."""
        self.fields[name].choices = choices  # type: ignore[attr-defined]
        if len(choices) == 1 or self.initial.get(name) not in {value for value, _label in choices}:
            self.initial[name] = choices[0][0] if len(choices) == 1 else ""

    def clean(self) -> dict[str, Any]:
        """The empty weight comes from the field, or from the containers named."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        typed = data.get("tare") is not None
        tin, count = self.station.gate.counted(data.get("container") or "", data.get("count"), typed)
        data["containers"] = ((tin.name, count),) if tin and count else ()
        if data.get("tare") is not None and tin is not None:
            self.add_error("tare", _("Write the empty weight or choose containers, not both."))
        if data.get("tare") is None and "tare" not in self.errors:
            if tin is None:
                self.add_error("tare", _("Write the empty weight, 0 if tared, or choose containers."))
            else:
                data["tare"] = tin.tare_g * count
        self._fits(data)
        return data

    def _fits(self, data: dict[str, Any]) -> None:
        """All that can be seen without keeping anything, told at once; then what is only improbable."""
        gross, tare, grower = data.get("gross"), data.get("tare"), None
        if gross is not None and tare is not None and tare >= gross:
            self.add_error("tare", str(swapped(tare, gross)))
        if gross is not None and gross > MAX_DELIVERY_G:
            self.add_error("gross", _("is above 30 000 kg."))
        if data.get("grower") and not data.get("new_grower"):
            try:
                grower = find_grower(data, Who())
            except InputError as error:
                self.add_error("grower", str(error))
        if not self.errors:
            at = data.get("at") or timezone.now()
            self.question = question_about(data, grower, at)


def _pick(label: Any, names: list[tuple[str, str]], required: bool) -> forms.ChoiceField:
    choices = [("", _("choose")), *names]
    return forms.ChoiceField(label=label, choices=choices, required=required)


class StepForm(Keyed):
    """One step of a lot; fields follow from what the step asks."""

    def __init__(
        self, asks: tuple[Ask, ...], station: Station, *args: Any, yard: Yard | None = None,
        hours: dict[str, str] | None = None, **kwargs: Any,
    ) -> None:  # fmt: skip
        super().__init__(*args, **kwargs)
        self.yard, self.hours, self.asks = yard, hours or {}, asks
        for ask in asks:
            self.fields[ask.name] = self._field(ask, station)
        self.order_fields([*(a.name for a in asks), "at", "key"])

    def _field(self, ask: Ask, station: Station) -> forms.Field:
        label = _(ask.words)
        if ask.kind == "kilograms":
            return Kilograms(label=label, required=ask.needed)
        if ask.kind == "number":
            return Plain(ask.low, ask.high, ask.unit, label=label, required=ask.needed)
        if ask.kind == "yes":
            return forms.BooleanField(label=label, required=False)
        if ask.kind == "pick":
            return _pick(label, self._told(ask, station), ask.needed)
        return forms.CharField(label=label, max_length=round(ask.high), required=ask.needed)

    def _told(self, ask: Ask, station: Station) -> list[tuple[str, str]]:
        """A menu of the station's own things, with what is free in each, or of the field's own words."""
        if not ask.of:
            return [(word, str(_(word))) for word in ask.choices]
        spots: Mapping[str, Spot] = getattr(self.yard, f"{ask.of}s", {}) if self.yard else {}
        return [
            (name, spots[name].words() if name in spots else self.hours.get(name, name))
            for name in things(ask.of, station)
        ]

    def details(self) -> dict[str, Any]:
        """Plain data for the record; masses in kilograms."""
        found: dict[str, Any] = {ask.name: self.cleaned_data.get(ask.name) for ask in self.asks}
        for ask in self.asks:
            if ask.kind == "kilograms" and found.get(ask.name) is not None:
                found[ask.name] /= 1000.0
        return {k: v for k, v in found.items() if v is not None and v is not False and v != ""}


class ReadingForm(Keyed):
    """One moisture reading."""

    moisture = Plain(3, 80, "% wb", label=_("moisture, % wet basis"))
    method = forms.CharField(
        label=_("method or meter, as last time"),
        max_length=60,
        help_text=_("for example: meter 2, ISO 6673 oven"),
    )
    bean_temp = Plain(0, 80, "C", label=_("bean temperature, C"), required=False)
