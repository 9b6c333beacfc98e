"""Forms and places of drying, from their data files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from drydown.errors import InputError, RangeError
from drydown.figures import Source, Status
from drydown.matter.species import Range, range_from_row
from drydown.steps.dry.fuel import fuel
from drydown.tables import table
from drydown.words import say

__all__ = ["Form", "Place", "form", "form_names", "isotherm_of", "place", "place_names"]


@dataclass(frozen=True, slots=True)
class Form:
    """What is spread: ranges of each property, and notes on how far they are known.

    `rules_as` names the packaged form whose published limits it is held against; `isotherm` what its
    balance with air was measured on; `cap_c` [C] the hottest its beans should be; `limit_days` how
    long a forecast looks ahead. joint: pairs of a range and the column of `draws.csv` whose factors it is
    drawn with, raised to joint_power; ranges not named there are drawn alone.
    """

    name: str
    label: str
    ranges: Mapping[str, Range]
    note: str
    rules_as: str
    isotherm: str
    cap_c: float
    limit_days: int
    joint: tuple[tuple[str, str], ...] = ()
    joint_power: float = 1.0

    def sources(self) -> tuple[Source, ...]:
        """All sources, without repeats."""
        return tuple(dict.fromkeys(r.source for r in self.ranges.values()))

    def dry_load(self, load_kg_m2: float) -> float:
        """Dry matter of a load counted as first spread [kg/m2]."""
        return load_kg_m2 / (1.0 + self.ranges["x_full"].typical)

    def load_of_layer(self, depth_m: float) -> float:
        """Load as first spread of a fresh layer of that depth [kg/m2]."""
        return depth_m * self.ranges["dm_wet_kg_m3"].typical * (1.0 + self.ranges["x_full"].typical)


_SAID = {
    "air_m_s": "air, m3 per m2 and second",
    "air_set_c": "air temperature, C",
    "bean_cap_c": "hottest beans, C",
    "recirculated": "share of air taken again (recirculated)",
    "burner": "efficiency of the burner",
}


@dataclass(frozen=True, slots=True)
class Place:
    """Where it dries: what the place does to sun, sky, wind and rain, and a machine's air.

    vent_m_s [m3 of outside air per m2 of bed and second], cover_w_m2k [W/(m2 K)] and
    floor_gain [share of the sun inside] describe a tunnel; air_m_s [m3/(m2 s)], air_set_c
    and bean_cap_c [C] a machine, and recirculated the share of its leaving air that is blown
    in again; burner [share of the fuel's heat that reaches the air] and fuel (`fuel.py`) only
    where the station said them. film_loss_per_year [share of light lost each year];
    bed_share [share of the tunnel's floor under beds]; film_years [years] that `light` allows for.
    """

    name: str
    label: str
    source: Source
    open_below: bool = False
    light: float = 0.0
    sky_share: float = 0.0
    wind_share: float = 0.0
    keeps_rain_off: bool = False
    slab_absorptance: float = 0.0
    slab_k_w_mk: float = 1.4
    slab_j_m3k: float = 2.1e6
    always_covered: bool = False
    mixed_always: bool = False
    over: bool = False
    vent_m_s: float = 0.0
    cover_w_m2k: float = 0.0
    floor_gain: float = 0.0
    film_loss_per_year: float = 0.0
    bed_share: float = 1.0
    film_years: float = 0.0
    air_m_s: float = 0.0
    air_set_c: float = 0.0
    bean_cap_c: float = 99.0
    recirculated: float = 0.0
    burner: float | None = None
    fuel: str | None = None

    @property
    def machine(self) -> bool:
        """True where a fan moves the air: through the layer, or over it (`over`)."""
        return self.air_m_s > 0.0

    def aged(self, years: float) -> Place:
        """The same place with its film so many years old."""
        if not 0.0 <= years <= 10.0:
            raise RangeError(say("film age must be from 0 to 10 years, got {years:g}.", years=years))
        if years > 0.0 and self.film_loss_per_year == 0.0:
            raise InputError(
                say("'{name}' has no film whose age is known to matter.", name=self.name), "film age"
            )
        left, was = (max(0.3, (1.0 - self.film_loss_per_year) ** y) for y in (years, self.film_years))
        return replace(self, light=self.light * left / was, film_years=years)

    def vented(self, air_changes_h: float, height_m: float) -> Place:
        """A tunnel with its own vents: air changes an hour in a tunnel of that mean height."""
        if self.vent_m_s == 0.0:
            raise InputError(say("'{name}' is no closed tunnel; vents do not apply.", name=self.name))
        if not 0.5 <= air_changes_h <= 200.0:
            raise RangeError(
                say("must be from 0.5 to 200, got {air_changes_h:g}.", air_changes_h=air_changes_h),
                "air changes an hour",
            )
        if not 0.5 <= height_m <= 8.0:
            raise RangeError(
                say("must be from 0.5 to 8 m, got {height_m:g}.", height_m=height_m), "tunnel height"
            )
        return replace(self, vent_m_s=air_changes_h / 3600.0 * height_m / self.bed_share)

    def set_to(
        self,
        air_m_s: float | None = None,
        air_set_c: float | None = None,
        bean_cap_c: float | None = None,
        recirculated: float | None = None,
        burner: float | None = None,
        fuel_name: str | None = None,
    ) -> Place:
        """A machine with its own air, bean cap, share of air taken again, burner and fuel."""
        limits = {
            "air_m_s": (0.02, 2.5),
            "air_set_c": (0.0, 110.0),
            "bean_cap_c": (25.0, 99.0),
            "recirculated": (0.0, 0.95),
            "burner": (0.1, 1.0),
        }
        given: dict[str, float | None] = {
            "air_m_s": air_m_s,
            "air_set_c": air_set_c,
            "bean_cap_c": bean_cap_c,
            "recirculated": recirculated,
            "burner": burner,
        }
        chosen = {k: v for k, v in given.items() if v is not None}
        if (chosen or fuel_name) and not self.machine:
            raise InputError(
                say("'{name}' has no fan; settings of air and burner do not apply.", name=self.name)
            )
        if self.over and ({"recirculated", "burner"} & set(chosen) or fuel_name):
            raise InputError(
                say("in '{name}' the air goes over the layer: its heat is not worked out.", name=self.name),
                fix="Leave out recirculated air, burner and fuel.",
            )
        for key, value in chosen.items():
            low, high = limits[key]
            if not low <= value <= high:
                raise RangeError(
                    say("must be from {low:g} to {high:g}, got {value:g}.", low=low, high=high, value=value),
                    where=_SAID[key],
                )
        burns = self.fuel if fuel_name is None else fuel(fuel_name).name
        return replace(self, fuel=burns, **chosen)  # type: ignore[arg-type]


def _forms() -> dict[str, Any]:
    return table("drydown.steps.dry", "forms.toml")


def form_names() -> list[str]:
    """Names of the forms that can be dried."""
    return [name for name in _forms() if name != "species"]


def form(name: str, species: str = "arabica") -> Form:
    """A form for a species; other species than arabica get a wider band and a note."""
    rows = _forms()
    if name not in form_names():
        raise InputError(
            say("form '{name}' is not known.", name=name),
            fix=say("Choose: {form_names}.", form_names=", ".join(form_names())),
        )
    kinds = rows["species"]
    if species not in kinds:
        raise InputError(say("species '{species}' has no drying data.", species=species))
    kind = kinds[species]
    own = {k: v for k, v in rows[name].items() if isinstance(v, Mapping)}
    plain = {k: v for k, v in rows[name].items() if not isinstance(v, Mapping)}
    joint = tuple((str(k), str(column)) for k, column in plain.pop("joint", ()))
    together = {k for k, _column in joint}
    ranges = {
        k: range_from_row(row) if k in together else _widen(range_from_row(row), kind["widen"])
        for k, row in own.items()
    }
    more = tuple((k, column) for k, column in kind.get("joint", ()) if k in together)
    for key in dict.fromkeys(k for k, _column in more):
        ranges[key] = _scaled(ranges[key], kind["quick"])
    scale = kind["radius_scale"].get(name, 1.0)
    if scale != 1.0:
        ranges["radius_m"] = _scaled(ranges["radius_m"], scale)
    ranges |= {k: range_from_row(row) for k, row in kind.get(name, {}).items()}
    power = 1.0 if more else kind["widen"]
    return Form(
        name, ranges=ranges, note=say(kind["note"]), joint=joint + more, joint_power=power,
        **plain | {"label": say(plain["label"])},
    )  # fmt: skip


def isotherm_of(name: str) -> str:
    """What a form's balance with air was measured on, as `matter.sorption.fit_note` asks."""
    return form(name).isotherm


def _widen(r: Range, factor: float) -> Range:
    low = r.typical - (r.typical - r.low) * factor
    return Range(r.typical, max(low, 0.2 * r.typical), r.typical + (r.high - r.typical) * factor, r.source)


def _scaled(r: Range, factor: float) -> Range:
    source = Source(say("{text}; scaled for the species", text=r.source.text), Status.OWN_ESTIMATE)
    return Range(r.typical * factor, r.low * factor, r.high * factor, source)


def _places() -> dict[str, dict[str, Any]]:
    return table("drydown.steps.dry", "places.toml")


def _place(name: str, row: Mapping[str, object]) -> Place:
    source = Source(str(row["source"]), Status(str(row["status"])))
    rest = {k: v for k, v in row.items() if k not in {"source", "status"}}
    rest["label"] = say(str(row["label"]))
    return Place(name=name, source=source, **rest)  # type: ignore[arg-type]


def place_names() -> list[str]:
    """Names of the places to dry on."""
    return list(_places())


def place(name: str) -> Place:
    """Look a place up by name; refuse unknown names with the list of known ones."""
    if name not in _places():
        raise InputError(
            say("place '{name}' is not known.", name=name),
            fix=say("Choose: {places}.", places=", ".join(_places())),
        )
    return _place(name, _places()[name])
