"""Forms of roasting, grinding and brewing a sample."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from drydown.desk.context import find_station
from drydown.desk.roastview import roaster_of
from drydown.desk.views.fields import Pairs
from drydown.desk.views.forms import Keyed, Plain
from drydown.errors import InputError
from drydown.outlook.roastlog import read_table
from drydown.station.roasters import Roaster

__all__ = ["BrewForm", "GrindForm", "RoastForm", "named"]

MOST_BYTES = 2_000_000


def named(kind: str) -> list[tuple[str, str]]:
    """Names of roasters, grinders or brewers of the station, as choices; a word where it states none."""
    station = find_station()
    things = getattr(station.equipment, kind) if station is not None else ()
    return [(t.name, t.name) for t in things] or [("-", str(_("not stated")))]


class RoastForm(Keyed):
    """A roast that is over, typed from paper."""

    roaster = forms.ChoiceField(label=_("roaster"))
    green_g = Plain(20, 500_000, "g", label=_("green in, g"))
    green_percent = Plain(5, 20, "%", label=_("its moisture, % wb"), required=False)
    charge_c = Plain(20, 350, "C", label=_("roaster when filled, C"))
    inlet_c = Plain(100, 510, "C", label=_("gas into the beans, C, if known"), required=False)
    drop_s = Plain(10, 3600, "s", label=_("out after, seconds"))
    readings = Pairs(
        first_is_number=True, label=_("second and probe, C"), required=False,
        help_text=_("one a line: 60 98"),
    )  # fmt: skip
    table = forms.FileField(
        label=_("or the logger's table (CSV)"), required=False,
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,text/csv,text/plain"}),
    )  # fmt: skip
    events = Pairs(label=_("milestone and second"), required=False, help_text=_("one a line: pops 485"))
    roasted_g = Plain(10, 500_000, "g", label=_("roasted out, g"), required=False)
    roasted_percent = Plain(0, 15, "%", label=_("its moisture, % wb"), required=False)
    lightness = Plain(0, 100, "", label=_("colour of the ground coffee, L*"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["roaster"].choices = named("roasters")  # type: ignore[attr-defined]

    def clean_table(self) -> list[tuple[float, float]] | None:
        """Readings of the table, by the columns that the roaster names."""
        file = self.cleaned_data["table"]
        if not file:
            return None
        if file.size > MOST_BYTES:
            raise forms.ValidationError(_("is larger than a log of an hour."))
        named_here = self._roaster()
        columns = {str(k): v for k, v in named_here.columns.items()} if named_here else {}
        try:
            return read_table(file.read().decode("utf-8-sig", "replace"), columns, file.name[:60])
        except InputError as error:
            raise forms.ValidationError(str(error)) from error

    def _roaster(self) -> Roaster | None:
        """The roaster chosen."""
        station = find_station()
        return roaster_of(station, str(self.data.get("roaster"))) if station is not None else None

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it, with the probe as it is now."""
        roaster = self._roaster()
        kept: dict[str, Any] = {"probe": roaster.probe if roaster else ""}
        kept |= {k: self.cleaned_data[k] for k in self.fields if k not in {"key", "at", "scheme", "table"}}
        kept["readings"] = self.cleaned_data.get("table") or kept["readings"]
        return {k: v for k, v in kept.items() if v is not None}


class GrindForm(Keyed):
    """A ground sample on sieves."""

    grinder = forms.ChoiceField(label=_("grinder"))
    setting = Plain(-1000, 10_000, "", label=_("setting"))
    bean_c = Plain(-20, 60, "C", label=_("beans, C: colder ones grind finer"), required=False)
    charge_g = Plain(5, 1000, "g", label=_("put on, g"))
    sieves = Pairs(
        label=_("aperture in µm, and g held"), help_text=_("one a line: 850 18.5; one sieve will do")
    )
    pan_g = Plain(0, 1000, "g", label=_("in the pan, g"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["grinder"].choices = named("grinders")  # type: ignore[attr-defined]

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it."""
        data = self.cleaned_data
        kept = {k: data[k] for k in ("grinder", "setting", "charge_g", "pan_g")}
        if data["bean_c"] is not None:
            kept["bean_c"] = data["bean_c"]
        return {**kept, "sieves_g": dict(data["sieves"])}


class BrewForm(Keyed):
    """A brew and what was read of it."""

    brewer = forms.ChoiceField(label=_("brewed with"))
    kind = forms.ChoiceField(
        label=_("water"),
        choices=[("immersion", _("stays with the grounds")), ("percolation", _("runs through"))],
    )
    dose_g = Plain(1, 100_000, "g", label=_("ground coffee, g"))
    water_g = Plain(5, 1_000_000, "g", label=_("water, g"))
    strength = Plain(0.05, 30, "%", label=_("strength read, % dissolved"), required=False)
    brix = Plain(0, 30, "", label=_("or degrees Brix"), required=False)
    words = forms.CharField(label=_("in words"), max_length=300, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["brewer"].choices = named("brewers")  # type: ignore[attr-defined]

    def told(self) -> dict[str, Any]:
        """The sheet as the books keep it."""
        kept = {k: self.cleaned_data[k] for k in ("brewer", "kind", "dose_g", "water_g", "words")}
        for name in ("strength", "brix"):
            if self.cleaned_data[name] is not None:
                kept[name] = self.cleaned_data[name]
        return kept
